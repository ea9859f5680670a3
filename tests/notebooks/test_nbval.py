"""The comparison of stored outputs can fail: a changed text or alt text is found, another picture is not minded."""

import re
import subprocess
import sys
from pathlib import Path

from tools.build import build

SANITIZER = Path(__file__).parent.parent / "nbval_sanitize.cfg"
SOURCE = """# %%
from IPython.display import HTML

print("settling wait 1.25 s")
HTML("<img alt='a line from 1 mm to 2 mm' src='data:image/png;base64,AAAA'>")
"""
CHANGES = {"picture": ("AAAA", "BBBB"), "text": ("1.25 s", "1.26 s"), "alt": ("to 2 mm", "to 3 mm")}


def test_changed_outputs(tmp_path):
    (tmp_path / "source.py").write_text(SOURCE)
    build(tmp_path / "source.py", tmp_path / "same.ipynb")
    outputs, code = (tmp_path / "same.ipynb").read_text().split('"source": [', 1)
    for name, (old, new) in CHANGES.items():
        assert old in outputs
        (tmp_path / f"{name}.ipynb").write_text(outputs.replace(old, new) + '"source": [' + code)
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-rA", "-p", "no:cacheprovider", "--nbval", "--nbval-current-env",
         f"--nbval-sanitize-with={SANITIZER}", f"--rootdir={tmp_path}", str(tmp_path)], capture_output=True, text=True)
    found = {Path(m[2]).name.split(".")[0]: m[1] for m in re.finditer(r"^(PASSED|FAILED) (\S+)", done.stdout, re.M)}
    assert found == {"same": "PASSED", "picture": "PASSED", "text": "FAILED", "alt": "FAILED"}, done.stdout
