"""Makes the sheets that the tests look at, from the shipped captures and from nasty ones."""
import os
import subprocess

SPANWRIGHT = os.environ.get("SPANWRIGHT", "build/spanwright")
HOSTILE = "<script>alert('x')</script>\"&amp;'><b>\u202egnirts\u202c"
CONTROL = "</title><img/src=x>\x07\x1b[2J\x7f\u2028&lt;"


def run(*words, status=(0,)):
    done = subprocess.run([SPANWRIGHT, *words], capture_output=True, text=True)
    if done.returncode not in status:
        raise SystemExit(f"spanwright {' '.join(words)}: status {done.returncode}: {done.stderr}")
    return done


def table(path, name, widths, outliers=(), period_us=20000):
    """A row a change, in microseconds, of the channel `name`."""
    with open(path, "w", encoding="utf-8", newline="") as f:
        quoted = '"' + name.replace('"', '""') + '"'
        f.write(f"time (us),{quoted}\n0,0\n")
        for i, width in enumerate(widths):
            at = 5000 + i * period_us
            f.write(f"{at},1\n{at + (outliers[i] if i in outliers else width)},0\n")


def dump(path, name, widths, period_us=20000):
    """The same as a value change dump, whose names may hold control characters."""
    with open(path, "w", encoding="utf-8", newline="") as f:
        f.write(f"$timescale 1 us $end\n$scope module top $end\n$var wire 1 ! {name} $end\n"
                "$upscope $end\n$enddefinitions $end\n#0\n0!\n")
        for i, width in enumerate(widths):
            at = 5000 + i * period_us
            f.write(f"#{at}\n1!\n#{at + width}\n0!\n")


def holds(levels, frames):
    return [level + (i * 7919 % 5) - 2 for level in levels for i in range(frames)]


def make(folder, hour=True):
    """Returns {name: path}; the files that sheets are made of stay beside them."""
    os.makedirs(folder, exist_ok=True)
    at = lambda name: os.path.join(folder, name)
    pages = {}

    def sheet(name, *words):
        pages[name] = at(name + ".html")
        run("sheet", *words, "-o", pages[name], "--force")

    sheet("claw", "captures/wren-claw.vcd", "--bench", "captures/wren-claw.ini")
    sheet("lid", "captures/wren-lid.csv", "--bench", "captures/wren-lid.ini")
    sheet("roller", "captures/wren-roller.raw.gz", "--rate", "500000", "--bench",
          "captures/wren-roller.ini")
    sheet("sound", "captures/wren-claw.wav", "--bench", "captures/wren-claw.ini", "--date", "2026-05-02")
    run("measure", "--json", "captures/wren-claw.wav", "-o", at("earlier.json"), "--force")
    run("plan", "--json", "captures/wren-claw.wav", "--bench", "captures/wren-claw.ini", "-o",
        at("plan.json"), "--force")
    run("verify", "--json", "captures/wren-adapter.vcd", "--before", "link", "--after", "servo", "--plan",
        at("plan.json"), "-o", at("verify.json"), "--force", status=(0, 1))
    sheet("everything", "captures/wren-claw.vcd", "--bench", "captures/wren-claw.ini", "--plan",
          at("plan.json"), "--verified", at("verify.json"), "--earlier", at("earlier.json"))

    # a level set far too high
    subprocess.run(["python3", "tests/cli/louder.py", "captures/wren-claw.wav", at("loud.wav"), "8"], check=True)
    sheet("loud", at("loud.wav"), "--bench", "captures/wren-claw.ini", "--earlier", at("earlier.json"))

    long_name = HOSTILE + "x" * 10000
    table(at("hostile.csv"), long_name, holds([1000, 1500, 2000], 60))
    with open(at("hostile.ini"), "w", encoding="utf-8") as f:
        for section, keys in {"servo": ["name"], "controller": ["name"],
                              "inspection": ["event", "robot", "port", "inspector"]}.items():
            f.write(f"[{section}]\n")
            for key in keys:
                f.write(f"{key} = <i>&\"' onload=x\u202e {'w' * 60}\n")
    sheet("hostile", at("hostile.csv"), "--bench", at("hostile.ini"))
    dump(at("control.vcd"), CONTROL, holds([1000, 1500, 2000], 60))
    sheet("control", at("control.vcd"))
    if hour:
        table(at("hour.csv"), "servo", holds([1000, 1500, 2000] * 20, 3000), {100000: 1777})
        sheet("hour", at("hour.csv"))
    # two captures of one line; a frame that changes; pulses that are missing, joined and odd
    table(at("part.csv"), "servo", holds([1000, 2000], 60))
    table(at("other.csv"), "servo", holds([1500, 2000], 60))
    sheet("two", at("part.csv"), at("other.csv"))
    nasty = holds([1000, 1500, 2000], 120)
    table(at("events.csv"), "servo", nasty, {i: 1200 + 7 * i for i in range(7, 350, 29)})
    with open(at("events.csv"), "a", encoding="utf-8") as f:
        for i in range(200):
            f.write(f"{7500000 + i * 5000},1\n{7500000 + i * 5000 + 1500},0\n")
        f.write("8700000,1\n8700004,0\n8750000,1\n8757000,0\n")
    sheet("events", at("events.csv"))
    table(at("short.csv"), "servo", holds([1500], 12))
    sheet("short", at("short.csv"))
    return pages
