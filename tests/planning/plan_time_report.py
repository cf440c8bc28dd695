"""What whole plans take, beside what is told of them from one light of their search.

Run it by hand::

    python tests/planning/plan_time_report.py silver-bookplate-bright gold-card-above

Processor time of this process and its helpers, so that a busy machine does not matter much.
"""

from __future__ import annotations

import resource
import sys

from lightplan.rigfiles import load_rig
from lightplan.tasks.plan import effort_of, plan
from lightplan.tasks.plan_time import JUDGING_S, light_time_s


def used_s() -> float:
    """Return the processor time of this process and of its children that ended. [s]"""
    found = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in found)


def main() -> None:
    """Plan each preset that is named."""
    for name in sys.argv[1:] or ["silver-bookplate-bright"]:
        loaded = load_rig(name)
        effort = effort_of(loaded.rig)
        light_s, _ = min(light_time_s(loaded.rig) for _ in range(3))
        before = used_s()
        plan(loaded, effort=effort)
        used = used_s() - before
        told = effort.evaluations * (JUDGING_S + light_s)
        print(f"{name}: light {light_s:.3f} s, plan {used:.1f} s, told as {told:.1f} s")


if __name__ == "__main__":
    main()
