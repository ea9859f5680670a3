"""Spoiled rig and shot files, judged: python -m tests.hardening.fuzz COUNT [SEED]

Each input is a demo file with one to four faults: bytes, lines, values or numbers. It must be refused in words or give a
plan that agrees with itself, in two seconds of computing. Prints one line of JSON: counts, the slowest, memory, faults.
"""

import collections
import json
import math
import random
import re
import resource
import signal
import sys
import tempfile
import time
import traceback
from pathlib import Path

import numpy as np

from macrolib import plan, read_rig, read_shot
from macrolib.planning.checks import FAILS, HOLDS, NOT_COMPUTED, TIGHT

DATA = Path(__file__).parents[2] / "notebooks" / "data"
RIGS, SHOTS = (sorted((DATA / kind).glob("*.toml")) for kind in ("rigs", "shots"))
SECONDS, MEGABYTES = 2.0, 500
NASTY = [
    '"nan mm"', '"inf mm/s"', '"1e400 m"', '"-5 mm"', '"0 mm"', '"1e-300 m"', '"12,5 mm"', f'"{"9" * 3000} mm"', "9" * 5000,
    "1e308", "nan", "inf", "-inf", "true", "[]", "{}", '"auto"', "[" * 800 + "]" * 800, "1979-05-27", '"9**9**9 mm"',
    '"__import__(\'os\')"', '""', "''", '"\\u0000"', '"5 mm\\n[motor]"', '"</script><b>"', "0", "-1", "1", "1000000", "5e-324",
    '"1 px"', '"1 m"', '"1 s"', '"1 kg"', '"1e15 m"', '"1e-15 m"', '"1 turn/s"', "'five mm'", '"\u0665 mm"', '"5 \u00b5m"',
    '"5\u00a0mm"', '[["1 mm"]]', '{ a = 1 }', "1e-320", "0x7fffffffffffffff"]


def _bytes(chance, text):
    data = bytearray(text.encode())
    for _ in range(chance.choice((1, 1, 2, 20))):
        at, what = chance.randrange(len(data)), chance.randrange(5)
        if what == 0:
            data[at] = chance.randrange(256)
        elif what == 1:
            data[at:at] = chance.choice((b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n", b'"', b"[", b"=", b"\\", b"\xc3", bytes(9)))
        elif what == 2:
            del data[at:at + chance.choice((1, 3, 200))]
        elif what == 3:
            data[at:at] = data[at // 2:at // 2 + 300]
        else:
            data = data[:at] or bytearray(b" ")
        data = data or bytearray(b" ")
    return bytes(data)


def _lines(chance, text):
    lines = text.splitlines()
    a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
    what = chance.randrange(4)
    if what == 0:
        del lines[a]
    elif what == 1:
        lines.insert(b, lines[a])
    elif what == 2:
        lines[a], lines[b] = lines[b], lines[a]
    else:
        lines.insert(a, chance.choice(("[motor]", "[[motor]]", "[a.b.c]", "x = 1", "= 1", "a.b = 2", '"" = ""', "[measured.motor]",
                                       "#" * 10_000)))
    return chance.choice(("\n", "\n", "\r\n")).join(lines)


_VALUE = re.compile(r"^(\w+ = )(.+)$", re.M)
_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e-?\d+)?")


def _value(chance, text):
    found = chance.choice(list(_VALUE.finditer(text)) or [None])
    return text if found is None else f"{text[:found.start()]}{found[1]}{chance.choice(NASTY)}{text[found.end():]}"


def _number(chance, text):
    found = chance.choice(list(_NUMBER.finditer(text)) or [None])
    if found is None:
        return text
    factor = chance.choice((0, -1, 0.5, 2, 1e3, 1e-3, 1e6, 1e-6, 10**chance.uniform(-9, 9)))
    number = float(found[0]) * factor
    new = str(round(number)) if "." not in found[0] and 1 <= abs(number) < 1e300 and chance.random() < 0.7 else repr(number)
    return f"{text[:found.start()]}{new}{text[found.end():]}"


def spoiled(chance, text):
    """Bytes of a file with one to four faults; numbers are changed most, for they give plans that can be wrong."""
    for _ in range(chance.choice((1, 1, 2, 4))):
        text = chance.choices((_number, _value, _lines), (12, 3, 1))[0](chance, text)
    return _bytes(chance, text) if chance.random() < 0.1 else text.encode()


def disagreements(made):
    """What in a plan contradicts itself, as sentences."""
    for name, setting in made.settings.items():
        if isinstance(setting.value, (int, float)) and not math.isfinite(setting.value):
            yield f"setting {name} is {setting.value}"
    for name, (_, values) in made.schedule.items():
        if np.asarray(values).dtype.kind == "f" and not np.isfinite(values).all():
            yield f"schedule column {name} is not finite"
    for check in made.checks:
        known = check.figure is not None and check.limit is not None
        if check.state == NOT_COMPUTED:
            continue
        if not known or not (math.isfinite(check.figure) or check.state == FAILS) or math.isnan(check.limit):
            yield f"check {check.name} is {check.state} with {check.figure} against {check.limit}"
        elif check.margin is not None and math.isfinite(check.margin) and check.limit != 0:
            good = check.margin >= 1 - 1e-9
            if (check.state in (HOLDS, TIGHT)) != good:
                yield f"check {check.name} is {check.state} with a margin of {check.margin}"


class TooLong(Exception):
    """An input took more than SECONDS of computing."""


def _stop(*_):
    raise TooLong


def judge(rig_path, shot_path, mends):
    """(outcome, fault): 'refused' or 'planned'; the fault is '' or says what must not happen."""
    try:
        made = plan(read_shot(shot_path), read_rig(rig_path), mends)
        return "planned", "; ".join(disagreements(made))
    except TooLong:
        return "planned", f"took more than {SECONDS:g} s of computing: " + traceback.format_exc()[-4000:]
    except (ValueError, OSError) as refusal:
        text = str(refusal)
        clear = len(text) > 15 and "Traceback" not in text and "nan" not in re.sub(r"found .*", "", text).lower().split()
        return "refused", "" if clear else f"unclear: {text!r}"
    except Exception:
        return "broken", traceback.format_exc()[-900:]


def run(count, seed=1):
    """Judge `count` inputs; a dict with counts, seconds, megabytes and the faults, each with the number of its input."""
    outcomes, faults, slowest = collections.Counter(), [], 0.0
    texts = {path: path.read_text(encoding="utf-8") for path in (*RIGS, *SHOTS)}
    signal.signal(signal.SIGPROF, _stop)
    with tempfile.TemporaryDirectory() as folder:
        rig, shot = Path(folder) / "rig.toml", Path(folder) / "shot.toml"
        for number in range(count):
            chance = random.Random(f"{seed} {number}")
            files = {rig: texts[chance.choice(RIGS)], shot: texts[chance.choice(SHOTS)]}
            for path, text in files.items():
                path.write_bytes(text.encode())
            path = chance.choice((rig, shot))
            path.write_bytes(spoiled(chance, files[path]))
            start = time.process_time()
            signal.setitimer(signal.ITIMER_PROF, SECONDS)
            outcome, fault = judge(rig, shot, mends=chance.random() < 0.1)
            signal.setitimer(signal.ITIMER_PROF, 0)
            slowest = max(slowest, time.process_time() - start)
            outcomes[outcome] += 1
            if fault:
                faults.append((number, fault))
    return {"outcomes": dict(outcomes), "slowest": slowest, "faults": faults,
            "megabytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}


if __name__ == "__main__":
    print(json.dumps(run(*map(int, sys.argv[1:3]))))
