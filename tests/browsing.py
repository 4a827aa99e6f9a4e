"""Debian's Chromium and a JupyterLab of its own, for the browser tests."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update",
         "--disable-sync"]  # fmt: skip
_START_S = 60
_SETTINGS: dict[str, dict[str, object]] = {
    "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False},
    # all cells in the page, not only those in sight
    "notebook-extension/tracker": {"windowingMode": "none"},
}


def playwright() -> Any:
    """The module that drives a browser; the test is skipped where it or the browser is not."""
    if BROWSER is None:
        pytest.skip("no chromium on this machine")
    return pytest.importorskip("playwright.sync_api", reason="playwright is not installed")


def _free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def _environment(folder: Path) -> dict[str, str]:
    """Every folder that Jupyter may read or write, fresh; no news and no telemetry."""
    names = ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR",
             "JUPYTERLAB_SETTINGS_DIR", "JUPYTERLAB_WORKSPACES_DIR", "IPYTHONDIR",
             "HOME")  # fmt: skip
    made = {name: folder / name.lower() for name in names}
    for path in made.values():
        path.mkdir(parents=True)
    for name, settings in _SETTINGS.items():
        path = made["JUPYTERLAB_SETTINGS_DIR"] / "@jupyterlab" / f"{name}.jupyterlab-settings"
        path.parent.mkdir(parents=True)
        path.write_text(json.dumps(settings), encoding="utf-8")
    return {**os.environ, **{name: str(path) for name, path in made.items()}}


@contextmanager
def jupyterlab(folder: Path, root: Path) -> Iterator[tuple[str, str]]:
    """A JupyterLab on loopback serving ``root``; yields its address and token."""
    pytest.importorskip("jupyterlab", reason="JupyterLab is not installed")
    port, token = _free_port(), secrets.token_hex(16)
    url = f"http://127.0.0.1:{port}"
    command = [
        sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1", f"--port={port}",
        "--ServerApp.port_retries=0", f"--IdentityProvider.token={token}",
        f"--ServerApp.root_dir={root}", "--LabApp.extension_manager=readonly",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    ]  # fmt: skip
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    environment = _environment(folder)
    log = folder / "jupyterlab.log"
    with log.open("wb") as out:
        server = subprocess.Popen(command, env=environment, stdout=out, stderr=out)
    try:
        _wait_until_up(url, token, server, log)
        yield url, token
    finally:
        _shut_down(url, token, server)


def _wait_until_up(url: str, token: str, server: subprocess.Popen[bytes], log: Path) -> None:
    until = time.monotonic() + _START_S
    while time.monotonic() < until:
        if server.poll() is not None:
            break
        with suppress(OSError), urllib.request.urlopen(f"{url}/api/status?token={token}"):
            return
        time.sleep(0.3)
    raise RuntimeError(f"JupyterLab did not start:\n{log.read_text(errors='replace')[-3000:]}")


def _shut_down(url: str, token: str, server: subprocess.Popen[bytes]) -> None:
    request = urllib.request.Request(f"{url}/api/shutdown?token={token}", method="POST")
    with suppress(OSError):
        urllib.request.urlopen(request, timeout=10).close()
    try:
        server.wait(20)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait(10)
