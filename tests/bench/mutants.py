"""Whether a module's own tests notice that it was changed: each mutant is written, its tests run, and it is put back.

    python -m tests.bench.mutants

Prints a line for each mutant, killed or alive, and ends with 1 if one lived. The source is restored whatever happens.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

PROJECT = Path(__file__).parent.parent.parent
# module, what stands there, what is put in its place, the tests that must notice
MUTANTS = (
    ("advise/choose.py", "    _, other, name = max(rated, default", "    _, other, name = min(rated, default", "test_advise_choose.py"),
    ("advise/choose.py", "return max(((self.upper(part, other), other.name) for other in others), default=(0.0", "return min(((self.upper(part, other), other.name) for other in others), default=(0.0", "test_advise_choose.py"),
    ("build/complaints.py", 'pair[1].code != "unknown_key", pair[0]', 'pair[1].code == "unknown_key", pair[0]', "test_build_complaints.py"),
    ("build/complaints.py", "    placed.sort(", "    sorted(placed, ", "test_build_complaints.py"),
    ("judge/compare.py", "pair.p_within <= 1 - confidence", "pair.p_within <= confidence", "test_judge_compare.py"),
    ("judge/compare.py", 'colour: Verdict = "alike" if pair.p_within >= confidence', 'colour: Verdict = "alike" if pair.p_within >= 1 - confidence', "test_judge_compare.py"),
    ("card/correction.py", "_BALANCE_SD, _EXPOSURE_SD = 0.15, 0.01, 0.08, 0.5", "_BALANCE_SD, _EXPOSURE_SD = 0.15, 0.01, 0.08, 0.45", "test_card_correction.py"),
    ("card/correction.py", "_BALANCE_SD, _EXPOSURE_SD = 0.15, 0.01, 0.08, 0.5", "_BALANCE_SD, _EXPOSURE_SD = 0.15, 0.01, 0.088, 0.5", "test_card_correction.py"),
    ("card/correction.py", "_BALANCE_SD, _EXPOSURE_SD = 0.15, 0.01, 0.08, 0.5", "_BALANCE_SD, _EXPOSURE_SD = 0.15, 0.011, 0.08, 0.5", "test_card_correction.py"),
    ("card/correction.py", "_BALANCE_SD, _EXPOSURE_SD = 0.15, 0.01, 0.08, 0.5", "_BALANCE_SD, _EXPOSURE_SD = 0.165, 0.01, 0.08, 0.5", "test_card_correction.py"),
    ("card/correction.py", "    gain[5] *= np.exp(_EXPOSURE_SD)\n", "", "test_card_correction.py"),
    ("card/correction.py", "        patches, fit = lit, fit_chart(lit, 3, flat)", "        patches = lit", "test_card_correction.py"),
    ("card/correction.py", "    lit = leave_out(patches, _light_faults(patches, fit))", "    lit = patches", "test_card_correction.py"),
    ("card/correction.py", '"in glare" if value > 0', '"in glare" if value < 0', "test_card_correction.py"),
    ("judge/lots.py", "LEAST_LOTS = 4", "LEAST_LOTS = 3", "test_judge_drift.py"),
    ("judge/lots.py", "more = len(earlier), 1 + 1 / len(earlier)", "more = len(earlier), 1.0", "test_judge_lots.py"),
    ("judge/lots.py", "quantile = f_quantile(1 - false_alarm", "quantile = f_quantile(1 - false_alarm / 2", "test_judge_lots.py"),
    ("judge/drift.py", "_MOSTLY_MEASURED = 0.5", "_MOSTLY_MEASURED = 1.5", "test_judge_drift.py"),
    ("judge/families.py", "FAR_DE00 = 11.5", "FAR_DE00 = 16.0", "test_judge_families.py"),
    ("judge/families.py", "DOUBTED_DE00 = 5.0", "DOUBTED_DE00 = 9.0", "test_judge_families.py"),
    ("judge/families.py", "_NEUTRAL_DE00 = 5.0", "_NEUTRAL_DE00 = 14.0", "test_judge_families.py"),
    ("page/static/merge.js", "if (old.get(key) !== value)", "if (old.get(key) === value)", "test_page_units.py"),
    ("page/static/merge.js", "if (!my.has(key)) all.delete(key)", "if (my.has(key)) all.delete(key)", "test_page_units.py"),
    ("page/static/geometry.js", "Math.abs(x2 - x1) + 1", "Math.abs(x2 - x1)", "test_page_units.py"),
    ("page/static/geometry.js", "width - 1 - right", "width - right", "test_page_units.py"),
)  # fmt: skip


def killed(module: str, old: str, new: str, tests: str) -> bool:
    """Whether the tests fail with the change; the module is as before afterwards."""
    path = PROJECT / "finishmatch" / module
    text = path.read_text("utf-8")
    if text.count(old) != 1:
        raise SystemExit(f"{module}: {old!r} stands there {text.count(old)} times")
    try:
        path.write_text(text.replace(old, new), "utf-8")
        command = [sys.executable, "-m", "pytest", "-x", "-p", "no:cacheprovider", f"tests/{tests}"]
        return subprocess.run(command, cwd=PROJECT, capture_output=True, check=False).returncode != 0
    finally:
        path.write_text(text, "utf-8")


def main() -> int:
    alive = 0
    for mutant in MUTANTS:
        dead = killed(*mutant)
        alive += not dead
        print(f"{'killed' if dead else 'ALIVE '}  {mutant[0]}: {' '.join(mutant[2].split()) or 'deleted'}", flush=True)
    print(f"{len(MUTANTS) - alive} of {len(MUTANTS)} killed")
    return int(alive > 0)


if __name__ == "__main__":
    sys.exit(main())
