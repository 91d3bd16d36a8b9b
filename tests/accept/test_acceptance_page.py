"""The report's page: in a real browser at two widths, and its colours by arithmetic.

Contrast: ratio of relative luminances, (L1 + 0.05) / (L2 + 0.05), at least 4.5 for
text. Source: WCAG 2, success criterion 1.4.3, from memory.
"""

import importlib.resources
import json
import os
import re
import shutil
import subprocess
from contextlib import suppress

import pytest
from required import require

from host_sim.accept import acceptance
from host_sim.accept.sequence_rest import LeakageSequence
from host_sim.accept.sequence_static import StaticSequence
from host_sim.accept.sequence_steps import StepSequence
from host_sim.cli.main import main
from host_sim.device import fault_campaign
from host_sim.scenario.load import shipped_scenario_path
from host_sim.show.cautions import CAUTIONS

SLOW = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
PICTURES = 10 if SLOW else 4
PAGE = (
    importlib.resources.files("host_sim") / "show" / "pages" / "acceptance.html"
).read_text(encoding="utf-8")
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
PROBE = """<script>
document.title = "PROBE" + JSON.stringify({
  inner: innerWidth, wide: document.documentElement.scrollWidth,
  pictures: [...document.querySelectorAll("figure svg")].filter(
    (svg) => svg.getBoundingClientRect().height > 60).length,
  outside: [...document.querySelectorAll("body *")].filter(
    (part) => !part.closest("svg") &&
      part.getBoundingClientRect().right > innerWidth + 1).length,
  ink: getComputedStyle(document.body).color,
  paper: getComputedStyle(document.body).backgroundColor,
});
</script></body>"""


def colours(scheme):
    """Read the page's named colours of a scheme."""
    blocks = re.findall(r":root \{(.*?)\}", PAGE, flags=re.DOTALL)
    named = dict(re.findall(r"--(\w+): (#\w+)", blocks[0]))
    if scheme == "dark":
        named |= dict(re.findall(r"--(\w+): (#\w+)", blocks[1]))
    return named


def luminance(colour):
    digits = colour[1:]
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    shares = [int(digits[k : k + 2], 16) / 255 for k in (0, 2, 4)]
    linear = [
        s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("text", ["ink", "quiet", "pass", "marginal", "fail"])
def test_page_text_has_contrast_in_both_schemes(scheme, text):
    named = colours(scheme)
    assert contrast(named[text], named["paper"]) >= 4.5


def test_page_captions_have_contrast_on_their_sheet():
    assert contrast("#3c4048", colours("light")["sheet"]) >= 4.5
    assert contrast("#3c4048", colours("dark")["sheet"]) >= 4.5
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    """Run an acceptance, by default one of three sequences, and give its page."""
    to = tmp_path_factory.mktemp("acceptance") / "acc"
    limits = shipped_scenario_path().with_name("veneer_press_limits.toml")
    options = ["--limits", str(limits), "--to", str(to), "--json"]
    short = [StaticSequence(points=3, cycles=2), StepSequence(), LeakageSequence()]
    with pytest.MonkeyPatch.context() as patch, suppress(SystemExit):
        if not SLOW:
            patch.setattr(acceptance, "plan", lambda scenario: short)
            patch.setattr(fault_campaign, "MOMENTS", fault_campaign.MOMENTS[2:3])
        main(["accept", str(shipped_scenario_path()), *options])
    return to / "report.html"


def probe(report, width, *options):
    """Let the browser lay a copy of the page out and say what it sees."""
    copy = report.with_name(f"probe{width}.html")
    text = report.read_text(encoding="utf-8")
    copy.write_text(text.replace("</body>", PROBE), encoding="utf-8")
    done = subprocess.run(
        [
            BROWSER,
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--dump-dom",
            "--hide-scrollbars",
            f"--window-size={width},900",
            *options,
            copy.as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    found = re.search(r"<title>PROBE(.*?)</title>", done.stdout)
    return json.loads(found.group(1))


def test_page_is_whole_and_needs_nothing_from_elsewhere(report):
    text = report.read_text(encoding="utf-8")
    assert "<script" not in text
    links = set(re.findall(r'(?:src|href|url)\s*[=(]\s*["\']?([^"\')\s>]+)', text))
    # Within a picture, parts refer to each other by their names.
    assert {link for link in links if not link.startswith("#")} <= set()
    for caution in CAUTIONS:
        assert caution in text
    assert text.count("<svg") == PICTURES
    assert "not opened" in text


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_page_in_a_browser_overflows_nowhere(report, width, scheme):
    require("" if BROWSER else "chromium", "apt install chromium (Debian)")
    dark = ["--force-dark-mode"] if scheme == "dark" else []
    seen = probe(report, width, *dark)
    assert seen["wide"] <= seen["inner"] <= max(width, 500)
    assert seen["outside"] == 0
    assert seen["pictures"] == PICTURES
    paper = [int(part) for part in re.findall(r"\d+", seen["paper"])[:3]]
    assert (sum(paper) < 200) == (scheme == "dark")
