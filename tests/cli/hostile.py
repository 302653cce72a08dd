#!/usr/bin/env python3
"""Names that attack what shows them: a terminal, a browser, a spreadsheet, a compiler, a
shell. They come in as channel names (VCD, table), file names and words of the bench file,
and every kind of output is read back by what would be attacked.

hostile.py PROGRAM FOLDER; the last line is "N passed, M failed"."""
import csv
import html.parser
import io
import json
import os
import pty
import re
import subprocess
import sys
import unicodedata

program, folder = os.path.realpath(sys.argv[1]), sys.argv[2]
os.chdir(folder)
environment = dict(os.environ, LC_ALL="C.UTF-8", TERM="xterm")
environment.pop("NO_COLOR", None)

NAMES = [
    b"\x1b[31mred\x1b[0m\x1b]0;title\x07back\x08\x08\x7fspace", b"\x9b31m\xc2\x9b31m\xff\xfe\xc0\x80\xed\xa0\x80\xf5",
    "\u202egnp.\u2066\u200e\u200b\ufeffhidden\u00ad\u2028line\u2029\ue000\U000e0041".encode(),
    b"=cmd|'/C calc'!A0", b"+1+1", b"-1+1", b"@SUM(A1)", "\uff1d1+1".encode(), b"\ta\tb", b'a;=1+1,quo"te,d',
    b"two\nlines\r\nmore", b"*/ int x; /*", b"</script></style><script>alert(1)</script>",
    b"'\" onmouseover='x' onfocus=\"x\"--><svg onload=x>", b"&lt;b&gt;&#60;]]>{{7*7}}${x}%s%n",
    b"$(touch pwned)`touch pwned`;touch pwned", b"\\x1b\\u202e", b"n" * 300, "\u00e5\u4e2d\U0001f916".encode(),
]
PLAIN = b"plain"
passed = failed = 0


def check(what, problems):
    global passed, failed
    problems = list(problems)
    if problems:
        failed += 1
        print("FAIL", what, *problems[:3], sep="\n    ")
    else:
        passed += 1


def vcd(names):
    """Two lines, 100 frames each, the second a frame later and with twice the range."""
    lines = [b"$timescale 1 us $end"]
    lines += [b"$var wire 1 %c %s $end" % (33 + i, name) for i, name in enumerate(names)]
    lines += [b"$enddefinitions $end", b"#0", b"0!"] + ([b'0"'] if len(names) > 1 else [])
    changes = []
    for i in range(120):
        width = (1500, 1000, 2000)[i // 20 % 3]
        changes += [(20000 * (i + 1), b"1!"), (20000 * (i + 1) + width, b"0!")]
        if len(names) > 1:
            late = 20000 * (i + 1) + 3000
            changes += [(late, b'1"'), (late + 2 * width - 1500, b'0"')]
    for at, change in sorted(changes):
        lines += [b"#%d" % at, change]
    return b"\n".join(lines) + b"\n"


def table(name):
    rows = [b"time (us)," + b'"' + name.replace(b'"', b'""') + b'"', b"0,0"]
    for i in range(120):
        width = (1500, 1000, 2000)[i // 20 % 3]
        rows += [b"%d,1" % (20000 * (i + 1)), b"%d,0" % (20000 * (i + 1) + width)]
    return b"\n".join(rows) + b"\n"


def write(path, content):
    with open(path, "wb") as file:
        file.write(content)
    return path


def run(*arguments, status=None, merge=True):
    done = subprocess.run([program, *arguments], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                          stderr=subprocess.STDOUT if merge else subprocess.PIPE, env=environment, check=False)
    if done.returncode not in ((0, 1, 2) if status is None else (status,)):
        check("status %d of %r" % (done.returncode, arguments), [done.stdout[-300:]])
    return done.stdout


def on_terminal(*arguments):
    leader, follower = pty.openpty()
    child = subprocess.Popen([program, *arguments], stdin=follower, stdout=follower, stderr=follower, env=environment)
    os.close(follower)
    got = b""
    while True:
        try:
            part = os.read(leader, 65536)
        except OSError:
            break
        if not part:
            break
        got += part
    child.wait()
    os.close(leader)
    return re.sub(rb"\x1b\[(0|1|31|32)?m", b"", got.replace(b"\r\n", b"\n"))


# Format characters that have a glyph and stand where they are read.
VISIBLE_CF = {*range(0x600, 0x606), 0x6DD, 0x70F, 0x890, 0x891, 0x8E2, 0x110BD, 0x110CD, *range(0x13430, 0x13440)}


def raw(output):
    """What a terminal must not get."""
    try:
        text = output.decode("utf-8")
    except UnicodeDecodeError as error:
        return ["no UTF-8: %s" % error]
    return ["U+%04X in %r" % (ord(c), text[max(0, i - 20):i + 20]) for i, c in enumerate(text)
            if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Co", "Cs", "Zl", "Zp", "Cn")
            and ord(c) not in VISIBLE_CF]


def safe(name):
    """How the name is shown, by another hand than the program's."""
    out = ""
    for piece in re.findall(rb"[\x00-\x7f]|[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}|[\xf0-\xf4][\x80-\xbf]{3}|.",
                            name, re.S):
        try:
            character = piece.decode("utf-8")
            good = not raw(piece) and character != "\n"
        except UnicodeDecodeError:
            good = False
        out += character if good else "".join("\\x%02x" % b for b in piece)
    return out


class Structure(html.parser.HTMLParser):
    """Tags and attribute names of a page, and those values that could run or load something."""

    def __init__(self, page):
        super().__init__(convert_charrefs=True)
        self.seen = []
        self.text = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, tuple(k for k, _ in attrs)))

    def handle_endtag(self, tag):
        self.seen.append("/" + tag)

    def handle_comment(self, data):
        self.seen.append("comment")

    def handle_decl(self, decl):
        self.seen.append(decl)

    def handle_data(self, data):
        self.text += data


def cells(output):
    for row in csv.reader(io.StringIO(output.decode("utf-8"), newline="")):
        if len(row) != 8:
            yield "a row of %d cells: %r" % (len(row), row)
        for cell in row[:1]:
            if re.match(r"\s*[=+\-@\uff1d\uff0b\uff0d\uff20\t\r\n]", cell):
                yield "a formula: %r" % cell


def pages(capture, name, *more):
    """The structure of the sheet; None when the capture is refused, which a table is
    whose header has control characters."""
    said = run("sheet", capture, "-o", "sheet.html", "--force", *more)
    if said.startswith(b"spanwright: " + (capture.encode() if isinstance(capture, str) else capture) + b": this is no"):
        return None
    with open("sheet.html", "rb") as file:
        page = file.read()
    check("sheet of %r is raw" % name, raw(page))
    return Structure(page.decode("utf-8", "replace"))


def same_structure(what, got, plain):
    check(what, [] if got is None or got.seen == plain.seen else
          ["%r instead of %r" % pair for pair in zip(got.seen, plain.seen) if pair[0] != pair[1]][:2] or ["more tags"])


def bench(word):
    keys = {"servo": ["name"], "controller": ["name"], "inspection": ["event", "robot", "port", "inspector"]}
    return b"".join(b"[%s]\n" % s.encode() + b"".join(b"%s = %s\n" % (k.encode(), word) for k in ks)
                    for s, ks in keys.items())


def all_of_a_vcd(name, plain):
    word = name.split(b"\n")[0]  # a VCD's names have no line's end: it is a blank between words
    capture = write("capture.vcd", vcd([word, b"other"]))
    ask = ["--channel", "other"]
    for arguments in (["measure", capture], ["plan", capture], ["plan", capture, *ask], ["verify", capture],
                      ["verify", capture, "--before", "other", "--after", "none"],
                      ["measure", capture, "--channel", "none"], ["measure", capture, "--channel", name],
                      ["verify", capture, "--before", name, "--after", name]):
        check("%r of VCD %r" % (arguments, name), raw(run(*arguments)))
    check("terminal, VCD %r" % name, raw(on_terminal("measure", capture)))
    got = json.loads(run("measure", "--json", capture, status=0, merge=False))
    shown = got["captures"][0]["channels"][0]["name"]
    expected = safe(b" ".join(word.split()).removeprefix(b"\\"))  # which marks an escaped identifier
    check("JSON of VCD %r" % name, [] if shown == expected or len(name) >= 300 else ["%r, not %r" % (shown, expected)])
    check("JSON of VCD %r is raw" % name, raw(run("measure", "--json", capture)))
    run("measure", capture, "--pulses", "pulses.csv", "--force", status=0)
    with open("pulses.csv", "rb") as file:
        content = file.read()
    check("CSV of VCD %r" % name, [*cells(content), *raw(content)])
    one = write("one.vcd", vcd([word]))
    same_structure("sheet of VCD %r" % name, pages(one, name), plain["sheet"])
    run("plan", one, "--emit-c", "remap.h", "--force")
    with open("remap.h", "rb") as file:
        check("C header of VCD %r" % name, [] if file.read() == plain["header"] else ["it is another one"])


def all_of_a_table(name, plain):
    capture = write("capture.csv", table(name))
    for arguments in (["measure", capture], ["plan", capture], ["measure", "--json", capture],
                      ["measure", capture, "--channel", "none"]):
        check("%r of table %r" % (arguments, name), raw(run(*arguments)))
    same_structure("sheet of table %r" % name, pages(capture, name), plain["table"])


def all_of_a_bench(name, plain):
    word = name.replace(b"\r", b" ").replace(b"\n", b" ").strip()
    path = write("hostile.ini", bench(word))
    one = write("one.vcd", vcd([PLAIN]))
    for arguments in (["plan", "--bench", path, one], ["plan", "--json", "--bench", path, one],
                      ["measure", "--bench", path, one]):
        check("%r of bench %r" % (arguments, name), raw(run(*arguments)))
    refused = run("plan", "--bench", path, one, "--json").startswith(b"spanwright:")  # too long, or a comment sign
    if not refused:
        json.loads(run("plan", "--json", "--bench", path, one, merge=False))
        same_structure("sheet of bench %r" % name, pages(one, name, "--bench", path), plain["bench"])
        run("plan", "--bench", path, one, "--emit-c", "remap.h", "--force")
        with open("remap.h", "rb") as file:
            check("C header of bench %r" % name, [] if file.read() == plain["header"] else ["it is another one"])
    for wrong in (b"[%s]\nx = 1\n" % word, b"[servo]\n%s = 1\n" % word, b"[servo]\ntravel_deg = %s\n" % word,
                  b"[servo]\nmode = %s\n" % word, word + b"\n"):
        check("bench file %r" % wrong, raw(run("plan", "--bench", write("wrong.ini", wrong), "--span", "1000:2000")))


def all_of_words(name):
    """The command line's own words, and JSON that is read back."""
    for arguments in ([name], ["measure", b"--" + name], ["measure", name], ["measure", "x", "--polarity", name],
                      ["measure", "x", "--rate", name], ["plan", "--span", name], ["plan", "--expect", name],
                      ["sheet", "one.vcd", "-o", "x", "--date", name], ["measure", "one.vcd", "-o", name + b"/x"],
                      ["verify", "one.vcd", "one.vcd", "--plan", name], ["measure", b"-" + name],
                      ["sheet", "one.vcd", "-o", "s.html", "--force", "--earlier", name]):
        if b"\0" not in b"".join(a if isinstance(a, bytes) else a.encode() for a in arguments):
            check("%r" % arguments, raw(run(*arguments)))
    text = json.dumps(name.decode("latin-1"))
    for content in ('{"schema": %s}', '{"schema": "spanwright.plan/1", "remap": {"kind": %s}}', "{%s: 1}"):
        path = write("hostile.json", (content % text).encode())
        check("JSON %r" % content, raw(run("verify", "one.vcd", "one.vcd", "--plan", path)))
        check("sheet of JSON %r" % content, raw(run("sheet", "one.vcd", "-o", "s.html", "--force", "--earlier", path)))
    # the sheet tells its own command line: a shell that is given it must not run more than it
    if 0 < len(name) < 200 and b"/" not in name:
        try:
            write(name, vcd([PLAIN]))
        except OSError:
            return
        page = pages(name if not name.startswith(b"-") else b"./" + name, name)
        told = re.search(r"spanwright sheet .*? --force", page.text, re.S)
        words = subprocess.run(["bash", "-c", "set -f; printf '%s\\0' " + told.group(0)], stdout=subprocess.PIPE,
                               stderr=subprocess.STDOUT, check=False).stdout if told else b""
        asked = [b"spanwright", b"sheet", name if not name.startswith(b"-") else b"./" + name, b"-o", b"sheet.html", b"--force"]
        check("command line with %r" % name, [] if words.split(b"\0")[:-1] == asked else ["%r of %r" % (words, told)])


plain = {"sheet": pages(write("one.vcd", vcd([PLAIN])), PLAIN),
         "table": pages(write("capture.csv", table(PLAIN)), PLAIN),
         "bench": pages(write("one.vcd", vcd([PLAIN])), PLAIN, "--bench", write("hostile.ini", bench(PLAIN)))}
run("plan", "one.vcd", "--emit-c", "remap.h", "--force", status=0)
with open("remap.h", "rb") as header:
    plain["header"] = header.read()
for name in NAMES:
    all_of_a_vcd(name, plain)
    all_of_a_table(name, plain)
    all_of_a_bench(name, plain)
    all_of_words(name)
check("something ran", ["pwned"] if os.path.exists("pwned") else [])
print("%d passed, %d failed" % (passed, failed))
sys.exit(failed > 0)
