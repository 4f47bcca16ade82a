"""The usual cautions where work can hurt someone or cost a farm, said once for every command and page.

Common practice, no source.
"""

from __future__ import annotations

from typing import Final

CAUTION_LINE: Final = "Estimates, not advice: ask local experts; follow labels, codes, licensed people."
"""Last line of every command that simulates."""

COLD_NIGHTS: Final = (
    "Cold-night work (fires, fuel, wind machines, ice loads, icy ground, tired people) is dangerous. Plan it with "
    "local experts and by the local fire and work-safety codes, and never work alone. Overhead sprinklers that stop "
    "part way through a frost leave wet buds colder than dry ones and do more harm than none."
)

CAUTIONS: Final = (
    "Estimates for planning, not advice. The results follow from the plan's prices, costs and assumptions. Have loans, "
    "insurance, taxes and contracts looked at by a licensed adviser before money is committed.",
    "Posts, wires, anchors, buildings and water works must meet the local code. Have the structure designed or checked "
    "by someone licensed to do so.",
    "Sprays: follow the product label, its re-entry times and the days it asks for before harvest, the local rules and "
    "the advice of a licensed applicator.",
    "Ladders, platforms and tractors on slopes hurt and kill: firm ground, guards and a roll bar with belt, trained "
    "people, and the local work-safety rules.",
    "Pickers' safety: water, shade and rest in heat, work stopped by lightning and storm, bags no heavier than one "
    "can carry, first aid at hand. The hours here allow for none of that time unless the plan's rates do.",
    COLD_NIGHTS,
)
"""The full list, for pages."""
