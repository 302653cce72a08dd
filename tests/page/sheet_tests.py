#!/usr/bin/env python3
"""What can be told of a sheet without a browser. Argument: folder for the pages."""
import html.parser
import json
import os
import re
import subprocess
import sys

sys.path.insert(0, os.path.dirname(__file__))
import sheets

ALLOWED = {"meta", "style", "title", "html", "head", "body", "main", "header", "section", "h1", "h2", "h3",
           "p", "b", "ul", "ol", "li", "span", "bdi", "code", "dl", "dt", "dd", "div", "table", "caption",
           "thead", "tbody", "tr", "th", "td", "figure", "figcaption", "br", "svg", "desc", "line", "rect",
           "path", "text"}
ATTRIBUTES = {"lang", "charset", "http-equiv", "content", "name", "class", "id", "role", "scope", "d",
              "data-field", "data-u", "data-decision", "data-channel", "x", "y", "x1", "y1", "x2", "y2",
              "width", "height", "viewbox", "text-anchor"}


class Page(html.parser.HTMLParser):
    def __init__(self, path):
        super().__init__(convert_charrefs=True)
        self.tags, self.attributes, self.fields, self.stack, self.text = set(), set(), [], [], ""
        self.channel, self.codes = None, []
        with open(path, encoding="utf-8") as f:
            self.feed(f.read())

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        attrs = dict(attrs)
        self.attributes |= set(attrs)
        if tag not in ("meta", "br"):
            self.stack.append((tag, attrs, len(self.text)))
        if "http-equiv" in attrs:
            self.policy = attrs["content"]

    def handle_startendtag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data):
        self.text += data

    def handle_endtag(self, tag):
        opened, attrs, at = self.stack.pop()
        assert opened == tag, f"<{opened}> is closed by </{tag}>"
        inner = self.text[at:]
        if "data-field" in attrs and attrs["data-field"]:
            self.fields.append((attrs["data-field"], attrs.get("data-u"), inner))
        if "data-channel" in attrs:
            self.channel = inner


def look_up(answers, path):
    value = answers
    for part in path.split("."):
        value = value[int(part)] if isinstance(value, list) else value[part]
    return value


def same(shown, value):
    """Is `shown` the value rounded to the digits shown?"""
    number = re.match(r"-?\d+(\.\d+)?", shown)
    if number is None or value is None:
        return False
    decimals = len(number[1]) - 1 if number[1] else 0
    # a whole number may have been rounded to tens and more when only two digits are known
    place = 10 ** -decimals
    if decimals == 0:
        zeros = len(number[0]) - len(number[0].rstrip("0"))
        place = max(1, 10 ** (zeros if len(number[0].lstrip("-")) - zeros <= 2 else 0))
    return abs(float(number[0]) - value) <= 0.5 * place * (1 + 1e-9) + 1e-12


def numbers(pages, folder, name, least, *words):
    measure = json.loads(sheets.run("measure", "--json", *[w for w in words]).stdout)
    plan = json.loads(sheets.run("plan", "--json", *words).stdout)
    page = Page(pages[name])
    assert len(page.fields) >= least, f"{len(page.fields)} fields"
    for path, u_path, shown in page.fields:
        parts = shown.split(" \u00b1 ")
        value = look_up({"measure": measure, "plan": plan}, path)
        assert same(parts[0], value), f"{path}: shown {shown}, JSON {value}"
        if u_path:
            u = look_up({"measure": measure, "plan": plan}, u_path)
            assert len(parts) == 2 and same(parts[1], u), f"{u_path}: shown {shown}, JSON {u}"
        else:
            assert len(parts) == 1, f"{path}: {shown} without the field of its uncertainty"


def markup(pages):
    for name, path in pages.items():
        page = Page(path)
        assert page.tags <= ALLOWED, f"{name}: {page.tags - ALLOWED}"
        assert page.attributes <= ATTRIBUTES, f"{name}: {page.attributes - ATTRIBUTES}"
        assert page.policy.startswith("default-src 'none'; style-src 'sha256-")
        assert page.stack == []
        with open(path, encoding="utf-8") as f:
            text = f.read()
        bad = [c for c in text if (ord(c) < 32 and c != "\n") or 0x7f <= ord(c) < 0xa0 or
               0x200b <= ord(c) <= 0x200f or 0x2028 <= ord(c) <= 0x202e or 0x2066 <= ord(c) <= 0x2069]
        assert not bad, f"{name}: {bad[:5]}"


def hostile(pages):
    page = Page(pages["hostile"])
    assert page.channel.startswith("<script>alert('x')</script>\"&amp;'><b>\\xe2\\x80\\xaegnirts"), page.channel
    assert page.channel.rstrip().endswith("bytes)") and len(page.channel) < 200
    page = Page(pages["control"])
    assert "</title><img/src=x>\\x07\\x1b[2J\\x7f\\xe2\\x80\\xa8&lt;" in page.channel, page.channel


def sizes(pages):
    for name, path in pages.items():
        assert os.path.getsize(path) < 400 * 1024, f"{name}: {os.path.getsize(path)} bytes"


def outlier(pages):
    """The one odd pulse of an hour: its level is drawn once, away from all others."""
    with open(pages["hour"], encoding="utf-8") as f:
        text = f.read()
    picture = text[text.index('id="time0"'):text.index('id="time0-n"')]
    dots = re.search(r'class="dots" d="([^"]*)"', picture)[1]
    y = [float(v) for v in re.findall(r"M[\d.]+ ([\d.]+)V", dots)]
    spans = [abs(float(b) - float(a)) for a, b in re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", dots)]
    assert len(y) > 600
    # holds end within columns, and that column spans two levels; the outlier's is shorter
    levels = {round(v) for v in y}
    assert any(20 < s < 60 for s in spans), (sorted(levels), sorted(spans)[-5:])


def same_bytes(pages, folder):
    again = sheets.make(folder, hour=False)
    for name, path in again.items():
        with open(path, "rb") as f, open(pages[name], "rb") as g:
            first, second = g.read(), f.read()
        assert first.replace(os.path.dirname(pages[name]).encode(), folder.encode()) == second, name


def dates(folder):
    def shown(*words, **environment):
        path = os.path.join(folder, "date.html")
        subprocess.run([sheets.SPANWRIGHT, "sheet", "captures/wren-lid.csv", "--bench",
                        "captures/wren-lid.ini", "-o", path, "--force", *words], check=True,
                       env={**os.environ, **environment}, capture_output=True)
        with open(path, encoding="utf-8") as f:
            return re.search(r"Date</span> (.*)</li>", f.read())[1]
    os.environ.pop("SOURCE_DATE_EPOCH", None)
    assert "blank" in shown()
    assert shown(SOURCE_DATE_EPOCH="86400") == "<bdi>1970-01-02</bdi>"
    assert shown("--date", "2026-02-28", SOURCE_DATE_EPOCH="86400") == "<bdi>2026-02-28</bdi>"


def changes(folder):
    """A shifted end is marked, the others are not."""
    earlier = os.path.join(folder, "earlier.json")
    with open(earlier, encoding="utf-8") as f:
        answer = json.load(f)
    answer["captures"][0]["channels"][0]["span_us"]["high"] -= 3
    shifted = os.path.join(folder, "shifted.json")
    with open(shifted, "w", encoding="utf-8") as f:
        json.dump(answer, f)
    path = os.path.join(folder, "shifted.html")
    sheets.run("sheet", "captures/wren-claw.vcd", "--earlier", shifted, "-o", path, "--force")
    with open(path, encoding="utf-8") as f:
        text = f.read()
    rows = re.findall(r'<tr><th scope="row">([^<]*)</th>.*?<td class="l">(.*?)</td></tr>', text)
    assert dict(rows) == {"Low end": "within the uncertainties", "Neutral": "within the uncertainties",
                          "High end": "<b>changed</b>", "Frame period": "within the uncertainties"}, rows


def doubt(pages):
    """A recording in doubt: marks on the time axis, stars with their reason, nothing firm."""
    with open(pages["loud"], encoding="utf-8") as f:
        text = f.read()
    assert 'data-decision="measure_again"' in text
    assert "Trusted: no part of it; in doubt: all of it (the recording clips)" in text
    assert text.count('<rect class="doubtbar"') == 2, "one bar a picture"
    assert re.search(r'</span> \* <span class="part">\d+ frames', text)
    assert text.count('<span class="doubted">* in doubt by an unknown amount: the recording clips') >= 3
    assert "Lower the recording level by 6 dB and record again" in text
    assert text.count('<td class="l">cannot be told</td>') == 3, "ends and neutral beside the earlier ones"
    with open(pages["sound"], encoding="utf-8") as f:
        text = f.read()
    assert "Trusted: all of it, 0 to 6.85" in text and "in doubt" not in text and 'class="doubt' not in text


def main():
    folder = sys.argv[1]
    pages = sheets.make(folder)
    claw = ("captures/wren-claw.vcd", "--bench", "captures/wren-claw.ini")
    sound = ("captures/wren-claw.wav", "--bench", "captures/wren-claw.ini")
    lid = ("captures/wren-lid.csv", "--bench", "captures/wren-lid.ini")
    roller = ("captures/wren-roller.raw.gz", "--rate", "500000", "--bench", "captures/wren-roller.ini")
    tests = [("numbers of the claw", lambda: numbers(pages, folder, "claw", 50, *claw)),
             ("numbers of the sound", lambda: numbers(pages, folder, "sound", 45, *sound)),
             ("numbers of the lid", lambda: numbers(pages, folder, "lid", 40, *lid)),
             ("numbers of the roller", lambda: numbers(pages, folder, "roller", 35, *roller)),
             ("numbers of an hour", lambda: numbers(pages, folder, "hour", 50, os.path.join(folder, "hour.csv"))),
             ("markup", lambda: markup(pages)), ("hostile", lambda: hostile(pages)),
             ("sizes", lambda: sizes(pages)), ("outlier", lambda: outlier(pages)),
             ("same bytes", lambda: same_bytes(pages, os.path.join(folder, "again"))),
             ("doubt", lambda: doubt(pages)), ("dates", lambda: dates(folder)), ("changes", lambda: changes(folder))]
    failed = 0
    for name, test in tests:
        try:
            test()
        except AssertionError as e:
            failed += 1
            print(f"FAIL {name}: {e}")
    print(f"{len(tests) - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
