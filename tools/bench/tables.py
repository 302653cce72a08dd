"""The tables of results, in Markdown; each says how many limits are missed."""
import statistics


def verdict(met):
    return {True: "yes", False: "**no**", None: ""}[met]


def print_times(results):
    print("| work | size, MB | time, s | processor, s | GB/s | reader alone, s | peak memory, MiB | allowed, MiB "
          "| met |")
    print("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | --- |")
    missed = 0
    for r in results:
        wall, cpu = statistics.median(r.seconds["measure"]), statistics.median(r.cpu["measure"])
        peak, allowed, seconds = r.peak["measure"] / 1024, r.allowed_mib(), r.median("measure")
        alone = f"{r.median('reader alone'):.3f}" if r.work.reader else ""
        missed += peak > allowed
        print(f"| {r.work.name} | {r.size / 1e6:.0f} | {wall:.3f} | {cpu:.3f} | {r.size / seconds / 1e9:.2f} "
              f"| {alone} | {peak:.1f} | {allowed:.1f} | {verdict(peak <= allowed)} |")
    return missed


def print_ratios(results):
    print("\n| work | against | its time, s | its peak, MiB | spanwright is, or takes | limit | met |")
    print("| --- | --- | ---: | ---: | ---: | ---: | --- |")
    missed = 0
    for r in results:
        for i, other in enumerate(r.work.against):
            ratio = r.ratio(other.name)
            shown, limit, met = other.judge(ratio)
            missed += met is False
            print(f"| {r.work.name if i == 0 else ''} | {other.name} | {r.median(other.name):.3f} "
                  f"| {r.peak[other.name] / 1024:.1f} | {shown} | {limit} | {verdict(met)} |")
    return missed


def print_instructions(counts):
    """counts: label, value and aim (or None)."""
    print("\n| instructions (callgrind) | counted | aim | met |\n| --- | ---: | ---: | --- |")
    missed = 0
    for label, value, aim in counts:
        met = None if aim is None else value <= aim
        missed += met is False
        shown = f"{value:.0f}" if value >= 100 else f"{value:.2f}"
        print(f"| {label} | {shown} | {'' if aim is None else f'at most {aim}'} | {verdict(met)} |")
    return missed
