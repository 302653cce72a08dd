#!/usr/bin/env python3
"""The inspection sheet in a real browser. Arguments: folder for the pages, then (optional) names.
Last line: "N passed, M failed". Screenshots and PDF files stay in the folder."""
import os
import re
import subprocess
import sys

sys.path.insert(0, os.path.dirname(__file__))
import sheets
from chromium import Chromium

PAPERS = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}
TWO_SIDES = ["claw", "lid", "roller", "sound", "everything"]
HERE = os.path.dirname(os.path.abspath(__file__))


def check_screen(browser, look, folder, name, path):
    for width in (360, 1280):
        for dark in (False, True):
            browser.open(path, width, dark)
            seen = browser.run(look)
            tone = "dark" if dark else "light"
            browser.screenshot(os.path.join(folder, f"{name}-{width}-{tone}.png"))
            for noise in browser.noises():
                yield f"{width} {tone}: {noise}"
            for wrong in seen["wrong"]:
                yield f"{width} {tone}: {wrong}"
            if seen["scripts"] != 0:
                yield "it holds a script"


def pages_of(pdf):
    info = subprocess.run(["pdfinfo", pdf], capture_output=True, text=True, check=True).stdout
    return int([line.split()[1] for line in info.splitlines() if line.startswith("Pages:")][0])


def check_print(browser, folder, name, path):
    browser.open(path, 1280)
    for paper, (width, height) in PAPERS.items():
        pdf = os.path.join(folder, f"{name}-{paper}.pdf")
        browser.pdf(pdf, width, height)
        n = pages_of(pdf)
        if n != 2 and (name in TWO_SIDES or n < 2):
            yield f"{paper}: {n} pages"


def check_form(path):
    tidy = subprocess.run(["tidy", "-q", "-e", "--drop-empty-elements", "no", "--mute",
                           "TRIM_EMPTY_ELEMENT,PROPRIETARY_ELEMENT", path],
                          capture_output=True, text=True)
    for line in tidy.stderr.splitlines():
        if "Error" in line or "Warning" in line:
            yield "tidy: " + line


def check_the_checks(browser, look, folder, path):
    """A page that is spoilt on purpose is found out."""
    with open(path, encoding="utf-8") as f:
        text = f.read()
    spoilt = os.path.join(folder, "spoilt.html")
    text = re.sub(r"<caption>.*?</caption>", "", text, count=1)
    text = re.sub(r"<desc>.*?</desc>", "", text)
    text = text.replace("</main>", '<p class="spoil"><img src="http://127.0.0.1:9/x.png" alt=""></p>'
                        "<h4>skips</h4><div><div class=\"wide-thing\">" + "w" * 400 + "</div></div></main>")
    text = re.sub(r'(<text class="num" x=")[^"]*(")', r"\g<1>300\2", text)
    with open(spoilt, "w", encoding="utf-8") as f:
        f.write(text)
    browser.open(spoilt, 360)
    wrong = "\n".join(browser.run(look)["wrong"] + browser.noises())
    for part in ("without caption", "without description", "skips a level", "texts overlap",
                 "wider than the window", "log: "):
        if part not in wrong:
            yield "not found out: " + part


def main():
    folder = sys.argv[1]
    pages = sheets.make(folder)
    with open(os.path.join(HERE, "look.js"), encoding="utf-8") as f:
        look = f.read()
    browser = Chromium()
    passed = failed = 0
    try:
        wrong = list(check_the_checks(browser, look, folder, pages["claw"]))
        passed, failed = passed + (not wrong), failed + bool(wrong)
        print("\n     ".join(["ok   the checks themselves" if not wrong else "FAIL the checks", *wrong]))
        for name, path in pages.items():
            if sys.argv[2:] and name not in sys.argv[2:]:
                continue
            for kind, check in (("screen", check_screen(browser, look, folder, name, path)),
                                ("print", check_print(browser, folder, name, path)),
                                ("form", check_form(path))):
                wrong = list(check)
                passed, failed = passed + (not wrong), failed + bool(wrong)
                print(f"{'ok  ' if not wrong else 'FAIL'} {name} {kind}")
                for line in wrong[:20]:
                    print("     " + line)
    finally:
        browser.close()
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
