"""Print what every shipped rig reaches, as the table of docs/looks.md.

python tests/docs/looks_table.py
"""

from __future__ import annotations

import lightplan
from lightplan.rigfiles import list_rigs

HEADING = (
    "| rig | look | foil | score | verdict | foil over paper, stops | foil over white, stops |"
    " unevenness of the foil, stops |\n|---|---|---|---|---|---|---|---|"
)
MEASURES = ("foil_to_paper_stops", "foil_to_white_stops", "foil_evenness_stops")


def row(name: str, look: str, foil: str) -> str:
    """Return the row of one rig."""
    found = lightplan.predict(name, explain=False)
    judged, measures = found.judgement, found.measures
    score = "-" if judged.score is None else f"{judged.score:.0f}"
    figures = " | ".join(
        f"{measures[key].value:.1f}" if key in measures else "-" for key in MEASURES
    )
    return f"| `{name}` | {look} | {foil} | {score} | {judged.verdict} | {figures} |"


def main() -> None:
    """Print the table."""
    print(HEADING)
    for info in list_rigs():
        if info.shipped:
            print(row(info.name, str(info.look), str(info.foil)), flush=True)


if __name__ == "__main__":
    main()
