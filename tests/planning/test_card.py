"""The settings card prints on one A4 page."""

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from macrolib import plan, read_rig, read_shot
from macrolib.planning.output import write_plan

DATA = Path(__file__).resolve().parents[2] / "notebooks" / "data"


@pytest.mark.skipif(shutil.which("chromium") is None and not os.environ.get("CI"), reason="needs the browser chromium")
@pytest.mark.parametrize("shot, rig", [("moss-capsule", "lab-ball-screw"), ("wing-case", "field-belt")])
def test_one_page(shot, rig, tmp_path):
    write_plan(plan(read_shot(DATA / "shots" / f"{shot}.toml"), read_rig(DATA / "rigs" / f"{rig}.toml")), tmp_path)
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", f"--user-data-dir={tmp_path / 'user'}"]
    page = (tmp_path / "settings.html").as_uri()
    subprocess.run(["chromium", *options, f"--print-to-pdf={tmp_path / 'card.pdf'}", page], check=True, capture_output=True, timeout=60)
    pages = re.findall(rb"/Type\s*/Page\b(?!s)", (tmp_path / "card.pdf").read_bytes())
    assert len(pages) == 1
