"""Starts the page's server in this process, on the loopback address only."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

ADDRESS = "127.0.0.1"

OPTIONS: dict[str, Any] = {
    "server.address": ADDRESS,
    # A foreign name that resolves to this address is not answered.
    "server.allowedHosts": ["localhost", ADDRESS],
    # Megabytes; half an hour of a phone's film.
    "server.maxUploadSize": 2000,
    "server.fileWatcherType": "none",
    "browser.gatherUsageStats": False,
    # A traceback can hold a path, and so a name.
    "client.showErrorDetails": "none",
    # Beside a fault the page would offer to ask others on the network about it.
    "client.showErrorLinks": False,
    "client.toolbarMode": "minimal",
    "theme.base": "light",
    "theme.baseFontSize": 17,
    "theme.primaryColor": "#1f5f78",
    "theme.backgroundColor": "#fbfbf9",
    "theme.secondaryBackgroundColor": "#eef2f2",
    "theme.textColor": "#1d2b30",
}
"""Given as flags, so that they stand above any file of settings in the working folder or in the user's home."""


def start_page(port: int, records: Path | None = None) -> None:
    """Serve the page until the process is asked to stop.

    Parameters
    ----------
    port : int
        On 127.0.0.1.
    records : Path or None
        The file of records; None is the one in the program's own folder.

    Notes
    -----
    A browser is opened where there is a display. The server is started directly and not through its command line, which asks
    for an e-mail address at the first start.
    """
    from streamlit.web import bootstrap

    from posture.batch.children import get_ready
    from posture.page.kept import use_records

    use_records(None if records is None else records.absolute())
    get_ready()  # The first clip does not wait for the landmark library.
    # Flags are named with an underscore in place of the dot.
    options = OPTIONS | {"server.port": port, "server.headless": not _has_display()}
    flags = {name.replace(".", "_"): value for name, value in options.items()}
    bootstrap.load_config_options(flags)
    bootstrap.run(str(Path(__file__).with_name("script.py")), False, [], flags)


def _has_display() -> bool:
    """Whether a browser can be opened for the user."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
