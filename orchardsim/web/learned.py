"""A plan that goes on with what a kept fit learned."""

from __future__ import annotations

import tomlkit

from orchardsim.core.errors import InputError
from orchardsim.results.fit import LEARNED_FILE
from orchardsim.web.folder import Folder
from orchardsim.web.orders import PLAN_FILE


def go_on(folder: Folder, name: str, number: int) -> str:
    """Write the plan of a kept fit into the folder, with what was learned beside it.

    Parameters
    ----------
    folder : Folder
    name : str
        Of the plan that was fitted.
    number : int
        Of the kept piece of work.

    Returns
    -------
    str
        Name of the new plan.

    Raises
    ------
    InputError
        If nothing was learned under this number.
    """
    fitted, learned, before = (folder.kept_file(name, number, one) for one in (f"{name}.toml", LEARNED_FILE, PLAN_FILE))
    if fitted is None or learned is None or before is None:
        raise InputError("learned", "found no such fit under this plan")
    new = f"{name[:40]} learned {number}"
    beside = f"{new}.json"
    plan = tomlkit.parse(fitted.read_text(encoding="utf-8"))
    plan["futures"]["learned"] = beside
    if "record" in plan.get("weather", {}):
        # The fitted plan names its record as seen from the folder that it is kept in.
        plan["weather"]["record"] = tomlkit.parse(before.read_text(encoding="utf-8"))["weather"]["record"]
    folder.new(folder.place / beside, learned.read_bytes())
    folder.new(folder.plan_path(new), tomlkit.dumps(plan).encode())
    return new
