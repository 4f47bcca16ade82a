"""``orchardsim web``: the page to plan on, at this machine only."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Final

from orchardsim.cli.arguments import whole_number

ADDRESS: Final = "127.0.0.1"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument(
        "plan",
        type=Path,
        nargs="?",
        metavar="PLAN",
        help="plan file (TOML), or the folder that holds plans (default: this folder)",
    )
    parser.add_argument(
        "--port", type=whole_number(0, 65535), default=0, help="port at 127.0.0.1 (default: any that is free)"
    )
    parser.add_argument("--no-browser", action="store_true", help="print the address and open no browser")


def execute(options: argparse.Namespace) -> int:
    """Serve the page until stopped."""
    import socket
    import threading
    import webbrowser
    from urllib.parse import quote

    import uvicorn

    from orchardsim.cli.stop import kept
    from orchardsim.core.errors import InputError
    from orchardsim.core.files import reason
    from orchardsim.plan import load_plan
    from orchardsim.web.app import create_app
    from orchardsim.web.folder import Folder

    given = options.plan or Path()
    page = ""
    if not given.is_dir():
        load_plan(given)
        page = f"plan/{quote(given.stem)}"
    folder = Folder(given if given.is_dir() else given.parent)
    if page:
        folder.plan_path(given.stem)
    listener = socket.socket()
    try:
        listener.bind((ADDRESS, options.port))
        listener.listen()  # whoever comes before the server is ready waits, and is not sent away
    except OSError as error:
        raise InputError("--port", f"{options.port} cannot be used: {reason(error)}; name another port") from None
    port = listener.getsockname()[1]
    address = f"http://{ADDRESS}:{port}/{page}"
    print(f"{address}\nThe page answers on this machine until you stop it with Ctrl-C.", flush=True)
    app = create_app(folder, port)
    config = uvicorn.Config(app, log_level="error", server_header=False, access_log=False, lifespan="on")
    if not options.no_browser:
        threading.Timer(0.5, webbrowser.open, [address]).start()
    with kept(lambda: "what was saved is kept"):
        uvicorn.Server(config).run(sockets=[listener])
    return 0
