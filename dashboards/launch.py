"""How is the dashboard started? The arguments for ``python -m streamlit``, theme included.

Everything travels with the command, so that no configuration file has to be installed: the server listens on this
machine only, fetches nothing, sends nothing and watches no files.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fleet.present.theme import DARK, FONT, LIGHT, TEXT_PX, Palette

APP = Path(__file__).with_name("app.py")

STORE_VARIABLE = "DOGDAYS_STORE"
"""Environment variable that names the store where ``--store`` isn't given."""

ADDRESS = "127.0.0.1"


def arguments(store_path: Path, port: int) -> list[str]:
    """Return what follows ``python -m streamlit``: run, the app, every setting, and the store after ``--``.

    Parameters
    ----------
    store_path : Path
        The store folder.
    port : int
        A free port of this machine.
    """
    settings = {
        "server.address": ADDRESS,
        "server.port": str(port),
        "server.headless": "true",
        "server.fileWatcherType": "none",
        "browser.gatherUsageStats": "false",
        "browser.serverAddress": ADDRESS,
        "client.toolbarMode": "minimal",
        "client.showErrorDetails": "none",
        "theme.font": FONT,
        "theme.baseFontSize": str(TEXT_PX),
        "theme.baseRadius": "none",
        "theme.showWidgetBorder": "true",
        **_colors(LIGHT),
        **_colors(DARK),
    }
    flags = [part for name, value in settings.items() for part in (f"--{name}", value)]
    return ["run", str(APP), *flags, "--", "--store", str(store_path)]


def command(store_path: Path, port: int) -> list[str]:
    """Return the whole command that starts the dashboard with this Python."""
    return [sys.executable, "-m", "streamlit", *arguments(store_path, port)]


def address(port: int) -> str:
    """Return where the dashboard can be opened."""
    return f"http://{ADDRESS}:{port}"


def _colors(palette: Palette) -> dict[str, str]:
    name = f"theme.{palette.name}"
    return {
        f"{name}.primaryColor": palette.brick,
        f"{name}.backgroundColor": palette.paper,
        f"{name}.secondaryBackgroundColor": palette.card,
        f"{name}.textColor": palette.ink,
        f"{name}.linkColor": palette.link,
        f"{name}.borderColor": palette.rule,
        f"{name}.dataframeBorderColor": palette.card,
        f"{name}.dataframeHeaderBackgroundColor": palette.card,
        f"{name}.sidebar.backgroundColor": palette.card,
        f"{name}.sidebar.secondaryBackgroundColor": palette.paper,
    }
