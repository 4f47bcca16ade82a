"""The server of the page: what is asked for, and what answers."""

from __future__ import annotations

import asyncio
import contextlib
import json
import re
import shutil
from collections.abc import AsyncIterator, Callable, Mapping
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from orchardsim.core.errors import InputError
from orchardsim.core.shipped import shipped_plans
from orchardsim.plan.describe import remarks, timetable_lines
from orchardsim.report.cautions import CAUTION_LINE, CAUTIONS
from orchardsim.web import forms
from orchardsim.web.bench import Bench
from orchardsim.web.draft import Draft, Place, go_on
from orchardsim.web.folder import LARGEST_PLAN, LARGEST_RECORD, SHOWN, Folder
from orchardsim.web.guard import KEPT_POLICY, Guard
from orchardsim.web.orders import ABOUT_FILE, KINDS, PLAN_FILE, study_of
from orchardsim.web.pictures import band_picture, bill_table, land_picture, letter_of
from orchardsim.web.study_keys import read_levels, study_keys

HERE: Final = Path(__file__).parent
LIMITS: Final = {"trials": (4, 5000), "years": (2, 60), "seed": (0, 2**31)}
"""Least and most of what an order may state; larger runs belong on the command line."""
LARGEST_ORDER: Final = 100_000
"""Bytes of a change or an order."""

PAGE_WORDS: Final = {
    "sheet.html": "Sheet for the partner or lender",
    "sheet.pdf": "Sheet as PDF",
    "report.html": "Full report",
    "field_sheet.html": "Field sheet to print",
    "field_sheet.csv": "Field sheet as a table",
}
"""Kept pages by what they are called; any other one is the full page."""
KIND_WORDS: Final = {
    "run": "Run",
    "numbers": "Numbers to state first",
    "compare": "Beside the plan before",
    "stress": "Bad seasons",
    "spares": "Spare trees",
    "levels": "What is not known",
    "study": "Several values",
    "weather": "The weather record",
    "fit": "What your trees told",
}
"""Questions by what they are called."""


class Desk:
    """What the server holds: the folder, the plans that are open, and the bench."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self.bench = Bench()
        self.drafts: dict[str, Draft] = {}
        self.pages = Environment(
            loader=PackageLoader("orchardsim.web"), autoescape=True, undefined=StrictUndefined,
            trim_blocks=True, lstrip_blocks=True,
        )  # fmt: skip
        self.pages.globals |= {"page_words": PAGE_WORDS, "kind_words": KIND_WORDS}
        # a line may break behind a hyphen before a currency, but not behind a minus sign
        self.pages.filters["minus"] = lambda line: re.sub(r"(?<!\w)-(?=[A-Z]{3} \d)", "\N{MINUS SIGN}", line)

    def draft(self, name: str) -> Draft:
        """An open plan; it is opened where it is not yet."""
        if name not in self.drafts:
            self.drafts[name] = Draft(self.folder, name)
        return self.drafts[name]

    def looked_at(self, name: str) -> Draft:
        """A plan as its file stands now, unless it holds changes that are not saved yet."""
        draft = self.drafts.get(name)
        if draft is not None and not draft.changed and draft.saved.encode() != self.folder.read_plan(name):
            del self.drafts[name]
        return self.draft(name)

    def page(self, template: str, **values: Any) -> str:
        """A page or a part of one."""
        return self.pages.get_template(template).render(**values)

    def shown(self, draft: Draft) -> str:
        """Land, bill and timetable of a plan."""
        plan = draft.plan
        return self.page(
            "shown.html",
            land=land_picture(plan),
            blocks=[_block_row(plan, block) for block in plan.blocks],
            idle=[plan.display.area.text(land.gross_area, 2) for land in plan.idle_land],
            bill=bill_table(plan),
            currency=plan.currency,
            price_year=plan.price_year,
            area=plan.display.area.text(plan.planted_area, 2),
            per_area=_per_area(plan),
            timetable=timetable_lines(plan)[1:],
            doubts=_doubts(plan),
        )

    def form(self, draft: Draft) -> str:
        """All fields of a plan."""
        return self.page("form.html", parts=forms.parts(draft))

    def kept(self, name: str) -> str:
        """What was made from a plan, newest first."""
        pieces = []
        for number in reversed(self.folder.numbers(name)):
            about = self.about(name, number) or {"kind": "", "pages": [], "sentences": [self.unfinished(name, number)]}
            pieces.append({"number": number, **about})
        return self.page("kept.html", name=name, pieces=pieces)

    def unfinished(self, name: str, number: int) -> str:
        """What is said of a piece of work that has no end yet."""
        mine = self.bench.busy and (self.bench.state["name"], self.bench.state["number"]) == (name, number)
        return "being worked out" if mine else "not finished: the program was ended, or another one works on it"

    def about(self, name: str, number: int) -> dict[str, Any] | None:
        """What is said of one piece of work; None for one that was not finished."""
        path = self.folder.kept_file(name, number, ABOUT_FILE)
        try:
            found = json.loads(path.read_text(encoding="utf-8")) if path is not None else None
        except ValueError:
            return None
        return found if isinstance(found, dict) and found.get("kind") in KINDS else None

    def answer(self, state: Mapping[str, Any]) -> str:
        """What is found so far, as a part of the page."""
        found = state.get("done") or state.get("first")
        if not found:
            return ""
        bands = [band_picture(one["title"], one["rows"]) for one in found.get("bands", ())]
        return self.page(
            "answer.html",
            name=state["name"],
            number=state["number"],
            found=found,
            bands=bands,
            rough="done" not in state,
            left=state.get("progress", 0) < state.get("total", 0),
        )


def _block_row(plan: Any, block: Any) -> dict[str, Any]:
    length = plan.display.length
    geometry = block.geometry
    return {
        "name": block.name,
        "training": block.groups[0].training_name.replace("_", " "),
        "spacing": f"{length.of(geometry.tree_spacing):.3g} × {length.of(geometry.row_spacing):.3g} {length.unit}",
        "rows": f"{geometry.rows} row{'s' if geometry.rows > 1 else ''} of {geometry.trees_per_row}",
        "trees": f"{geometry.trees:,}",
        "area": plan.display.area.text(geometry.planted_area, 2),
        "groups": [
            f"{letter_of(block, number, ': ')}{group.trees:,} {group.cultivar_name} on {group.stock_name}"
            for number, group in enumerate(block.groups)
        ],
    }


def _per_area(plan: Any) -> str:
    new = sum(money.geometry.planted_area for money in plan.money if money.year_planted >= 0)
    area = plan.display.area
    return f"{bill_table(plan).total / area.of(new):,.0f} per {area.unit} planted" if new else ""


def _doubts(plan: Any) -> list[str]:
    try:
        return remarks(plan)
    except InputError as error:
        return [str(error)]


def create_app(folder: Folder, port: int, *, working: bool = True) -> Starlette:
    """The server of a folder at a port; ``working``: have the process that simulates ready from the start."""
    desk = Desk(folder)

    @contextlib.asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        if working:
            await desk.bench.open()
        yield
        await desk.bench.close()

    hosts = frozenset(f"{name}:{port}" for name in ("127.0.0.1", "localhost"))
    app = Starlette(
        routes=[*_routes(), Mount("/static", StaticFiles(directory=HERE / "static"), name="static")],
        middleware=[Middleware(Guard, hosts=hosts)],
        exception_handlers={InputError: refused},
        lifespan=life,
    )
    app.state.desk = desk
    return app


def _routes() -> list[Route]:
    return [
        Route("/", choose),
        Route("/start", start, methods=["POST"]),
        Route("/bring", bring, methods=["POST"]),
        Route("/plan/{name}", plan_page),
        Route("/plan/{name}/edit", edit, methods=["POST"]),
        Route("/plan/{name}/form", form),
        Route("/plan/{name}/study-keys", keys_to_try),
        Route("/plan/{name}/save", save, methods=["POST"]),
        Route("/plan/{name}/file", plan_file),
        Route("/plan/{name}/weather", bring_weather, methods=["POST"]),
        Route("/plan/{name}/measurements", bring_measurements, methods=["POST"]),
        Route("/plan/{name}/work", order, methods=["POST"]),
        Route("/plan/{name}/kept", kept_list),
        Route("/plan/{name}/kept/{number:int}/learned", go_on_with_learned, methods=["POST"]),
        Route("/plan/{name}/kept/{number:int}/{inside:path}", kept_file),
        Route("/running", work),
        Route("/running/stop", stop, methods=["POST"]),
    ]


async def refused(request: Request, error: Exception) -> Response:
    """What is wrong, in one line: as a page where one was asked for, else for the script."""
    assert isinstance(error, InputError)
    if request.method == "GET" and "text/html" in request.headers.get("accept", ""):
        text = _desk(request).page("wrong.html", title="This cannot be shown", problem=str(error))
        return HTMLResponse(text, status_code=400)
    return JSONResponse({"problem": _at_field(error)}, status_code=400)


def _at_field(error: InputError) -> str:
    """The problem without the key before it, which the field beside it bears already."""
    key, colon, rest = error.problem.partition(": ")
    return rest if colon and " " not in key.replace("block ", "block_") else error.problem


def _desk(request: Request) -> Desk:
    found: Desk = request.app.state.desk
    return found


def _draft(request: Request) -> Draft:
    return _desk(request).draft(request.path_params["name"])


async def _body(request: Request, largest: int) -> bytes:
    """What was sent, read no further than a limit."""
    content = bytearray()
    async for part in request.stream():
        content += part
        if len(content) > largest:
            raise InputError("file", f"found more than {largest:,} bytes, allowed at most that")
    return bytes(content)


async def _sent(request: Request) -> dict[str, Any]:
    try:
        found = json.loads(await _body(request, LARGEST_ORDER))
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise InputError("request", "found something else than a JSON object")
    return found


def _text(sent: dict[str, Any], name: str) -> str:
    found = sent.get(name)
    if not isinstance(found, str):
        raise InputError(name, "missing; expected a text")
    return found


def _place(sent: dict[str, Any]) -> Place:
    found = sent.get("place")
    good = isinstance(found, list) and 0 < len(found) <= 8
    if not good or not all(isinstance(part, (str, int)) and not isinstance(part, bool) for part in found or ()):
        raise InputError("place", "expected the names of a key of the plan")
    return tuple(found or ())


async def choose(request: Request) -> Response:
    """The first page: plans of the folder, plans that ship with the program, a file of one's own."""
    desk = _desk(request)
    shipped = {name: await asyncio.to_thread(_title, path) for name, path in shipped_plans().items()}
    own = {name: await asyncio.to_thread(_title, desk.folder.plan_path(name)) for name in desk.folder.plans()}
    return HTMLResponse(
        desk.page("choose.html", title="Planting plans", shipped=shipped, own=own, caution=CAUTION_LINE)
    )


def _title(path: Path) -> str:
    import tomllib

    try:
        return str(tomllib.loads(path.read_text(encoding="utf-8-sig")).get("title", path.stem))
    except (OSError, ValueError):
        return "cannot be read"


async def start(request: Request) -> Response:
    """Begin a plan from one that ships with the program, under a name of one's own."""
    desk, sent = _desk(request), await _sent(request)
    source, name = shipped_plans().get(_text(sent, "start")), _text(sent, "name").strip()
    if source is None:
        raise InputError("start", "found no such plan among those that ship with the program")
    path = desk.folder.plan_path(name)
    if path.exists():
        raise InputError("name", f"{path.name} stands in the folder already; choose another name, or open it")
    desk.folder.new(path, source.read_bytes())
    return JSONResponse({"open": f"/plan/{quote(name)}"})


async def bring(request: Request) -> Response:
    """Take over a plan file of one's own."""
    desk = _desk(request)
    name = request.query_params.get("file", "").removesuffix(".toml")
    path = desk.folder.plan_path(name)
    await _brought(request, path, LARGEST_PLAN, lambda: desk.draft(name))
    return JSONResponse({"open": f"/plan/{quote(name)}"})


async def plan_page(request: Request) -> Response:
    """The page of one plan."""
    desk = _desk(request)
    name = request.path_params["name"]
    draft = await asyncio.to_thread(desk.looked_at, name)
    text = await asyncio.to_thread(
        lambda: desk.page(
            "plan.html",
            title=draft.plan.title,
            name=name,
            shown=desk.shown(draft),
            form=desk.form(draft),
            kept=desk.kept(name),
            changed=draft.changed,
            revision=draft.revision,
            cautions=CAUTIONS,
            caution=CAUTION_LINE,
        )
    )
    return HTMLResponse(text)


async def edit(request: Request) -> Response:
    """Take over one change, and show land and bill anew; a wrong value is told and changes nothing."""
    desk, draft, sent = _desk(request), _draft(request), await _sent(request)
    action, stale = sent.get("action", "set"), sent.get("revision", draft.revision) != draft.revision
    problem, waited = "", bool(draft.waiting)
    if action == "back":
        draft.back()
    elif action == "remove":
        draft.remove(_place(sent))
    elif action == "add":
        draft.add(_place(sent), *(_text(sent, key) for key in ("name", "like") if key in sent))
    else:
        place, text = _place(sent), _text(sent, "value")
        kind = forms.kind_at(place)
        if kind is None:
            raise InputError("place", "the plan has no such key")
        try:
            draft.edit(place, text, kind)
        except InputError as error:
            problem = _at_field(error)
    anew = stale or action != "set" or (not problem and (waited or _place(sent)[-1] in REBUILD))
    return _news(desk, draft, problem, anew=anew)


def _news(desk: Desk, draft: Draft, problem: str = "", *, anew: bool = True) -> Response:
    """What a change made of a plan; its fields too where they are to be shown ``anew``."""
    return JSONResponse(
        {
            "problem": problem,
            "shown": "" if problem else desk.shown(draft),
            "form": desk.form(draft) if anew else "",
            "title": draft.plan.title,
            "changed": draft.changed,
            "revision": draft.revision,
        }
    )


REBUILD: Final = frozenset({"units", "currency", "name", "cultivar", "rootstock", "training", "record"})
"""Keys that change what other fields offer or show."""


async def form(request: Request) -> Response:
    """The fields anew."""
    return HTMLResponse(_desk(request).form(_draft(request)))


async def save(request: Request) -> Response:
    """Write the plan into its file, or into a new one."""
    desk, draft, sent = _desk(request), _draft(request), await _sent(request)
    name = sent.get("name")
    if draft.waiting:
        raise InputError("plan", "a field holds a value that was not taken over; correct it, or empty it, then save")
    draft.save(_text(sent, "name").strip() if name is not None else None)
    if name is not None and name != draft.name:
        desk.drafts.pop(draft.name)  # its changes went into the other plan; its own file holds none of them
        return JSONResponse({"open": f"/plan/{quote(_text(sent, 'name').strip())}"})
    return JSONResponse({"saved": f"{desk.folder.plan_path(draft.name).name}", "changed": draft.changed})


async def plan_file(request: Request) -> Response:
    """The plan as a file to take away."""
    draft = _draft(request)
    headers = {"content-disposition": f'attachment; filename="{draft.name}.toml"'}
    return PlainTextResponse(draft.text, media_type="application/toml", headers=headers)


async def bring_weather(request: Request) -> Response:
    """Take over a station record, and let the plan name it."""
    from orchardsim.weather.sampling import prepare_record

    desk, draft = _desk(request), _draft(request)
    name = request.query_params.get("file", "")
    path = desk.folder.record_path(name)
    await _brought(request, path, LARGEST_RECORD, lambda: prepare_record(path, draft.plan.weather.latitude))
    draft.edit(("weather", "record"), name, "text")
    return _news(desk, draft)


async def _brought(request: Request, path: Path, largest: int, check: Callable[[], object]) -> None:
    """Write a file that was sent into the folder; it does not stay where it fails its check."""
    folder, content = _desk(request).folder, await _body(request, largest)
    before = path.exists()
    await asyncio.to_thread(folder.new, path, content)
    try:
        await asyncio.to_thread(check)
    except InputError:
        if not before:
            path.unlink()
        raise


async def bring_measurements(request: Request) -> Response:
    """Take over a table of measured trees of the plan's blocks."""
    from orchardsim.plan.measurements import LARGEST_FILE, read_measurements

    draft, name = _draft(request), request.query_params.get("file", "")
    path = _desk(request).folder.measured_path(name)
    await _brought(request, path, LARGEST_FILE, lambda: read_measurements(path, draft.plan))
    return JSONResponse({"file": name})


async def go_on_with_learned(request: Request) -> Response:
    """Begin a plan that carries what a kept fit learned."""
    desk, names = _desk(request), request.path_params
    name = await asyncio.to_thread(go_on, desk.folder, names["name"], names["number"])
    return JSONResponse({"open": f"/plan/{quote(name)}"})


async def order(request: Request) -> Response:
    """Start a piece of work on the plan as it stands on the page."""
    desk, draft, sent = _desk(request), _draft(request), await _sent(request)
    kind = _text(sent, "kind")
    if kind not in KINDS:
        raise InputError("kind", f"found {kind!r}; allowed: {', '.join(KINDS)}")
    if desk.bench.busy:
        raise InputError("work", "something else is being worked out; wait for it, or stop it")
    numbers = {}
    for name, (low, high) in LIMITS.items():
        value = sent.get(name)
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise InputError(name, f"{name}: found {value!r}, allowed a whole number from {low} to {high:,}")
        numbers[name] = value
    more: dict[str, Any] = {}
    if kind == "compare":
        more["before"] = _earlier(desk, draft, sent)
    if kind == "study":
        key = _text(sent, "key")
        more |= {"key": key, "levels": read_levels(draft, key, _text(sent, "levels"))}
        await asyncio.to_thread(study_of, {"folder": desk.folder.place, "text": draft.text, **numbers, **more})
    if kind == "fit":
        more |= {"measurements": _text(sent, "measurements")}
        more |= {name: sent.get(name) is True for name in ("following", "waiting")}
        if not desk.folder.measured_path(more["measurements"]).is_file():
            raise InputError("measurements", "no such file stands in the folder; bring it first")
        if draft.changed:
            raise InputError("plan", "save the plan first: what is learned belongs to the plan as it is saved")
    number = desk.folder.reserve(draft.name)
    await desk.bench.order(
        {
            "kind": kind,
            "folder": str(desk.folder.place),
            "place": str(desk.folder.kept(draft.name) / str(number)),
            "name": draft.name,
            "number": number,
            "text": draft.text,
            **numbers,
            **more,
        }
    )
    return JSONResponse({"number": number})


def _earlier(desk: Desk, draft: Draft, sent: dict[str, Any]) -> str:
    """Text of the plan before: as saved, or as it was in an earlier piece of work."""
    number = sent.get("before")
    if number is None:
        text = draft.saved
    else:
        path = desk.folder.kept_file(draft.name, number, PLAN_FILE) if type(number) is int else None
        if path is None:
            raise InputError("before", "found no such piece of work under this plan")
        text = path.read_text(encoding="utf-8")
    if text == draft.text:
        raise InputError("before", "the plan is the same as the one before; change something first")
    return text


async def keys_to_try(request: Request) -> Response:
    """Keys of the plan of which several values can be tried."""
    draft = _draft(request)
    return HTMLResponse(_desk(request).page("study_keys.html", tables=study_keys(draft)))


async def work(request: Request) -> Response:
    """News of the work in hand, or of the last."""
    desk = _desk(request)
    state = desk.bench.state
    if not state:
        return JSONResponse({"busy": False})
    if "failed" in state:
        await asyncio.to_thread(desk.folder.release, state["name"], state["number"])
    return JSONResponse(
        {
            "busy": desk.bench.busy,
            **{key: state[key] for key in ("kind", "name", "number", "progress", "total", "failed") if key in state},
            "seconds_left": desk.bench.seconds_left,
            "stopped": "stopped" in state,
            "finished": "done" in state,
            "answer": desk.answer(state),
        }
    )


async def stop(request: Request) -> Response:
    """Stop the work in hand."""
    desk = _desk(request)
    state = desk.bench.state
    if desk.bench.busy and "stopping" not in state:
        state["stopping"] = True
        await desk.bench.stop()
        if desk.about(state["name"], state["number"]) is None:
            # Of a stopped piece of work nothing is kept: the folder is one that this server gave its number.
            place = desk.folder.kept(state["name"]) / str(state["number"])
            await asyncio.to_thread(shutil.rmtree, place, ignore_errors=True)
        if "done" not in state:
            state["stopped"] = True
    return JSONResponse({"stopped": True})


async def kept_list(request: Request) -> Response:
    """What was made from the plan."""
    return HTMLResponse(_desk(request).kept(request.path_params["name"]))


async def kept_file(request: Request) -> Response:
    """A file of a kept piece of work."""
    names = request.path_params
    path = _desk(request).folder.kept_file(names["name"], names["number"], names["inside"])
    if path is None:
        return PlainTextResponse("No such file is kept.", status_code=404)
    headers = {"content-security-policy": KEPT_POLICY}
    if path.suffix == ".pdf":
        headers["content-disposition"] = f'attachment; filename="{names["name"]} {names["number"]} sheet.pdf"'
    return FileResponse(path, media_type=SHOWN[path.suffix], headers=headers)
