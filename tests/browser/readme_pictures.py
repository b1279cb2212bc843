"""Makes the README's pictures from the demo: python -m tests.browser.readme_pictures.

It needs the system's Chromium, named by KEEPCARD_TEST_CHROMIUM or found on the path.
"""

from __future__ import annotations

import io
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.request import urlopen

from PIL import Image
from playwright.sync_api import sync_playwright

from demo_cards.load import people
from service.domain.terms import Role

OUT = Path(__file__).parents[2] / "demo_cards" / "pictures"
PAGES = (("bench", Role.PAINTER), ("rack", Role.REFINISHER), ("audit", Role.MANAGER))
SIZE = (1100, 900)


def main() -> None:
    """Serve a fresh demo and take one picture of each entrance."""
    chromium = os.environ.get("KEEPCARD_TEST_CHROMIUM") or shutil.which("chromium")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        code = "from service.app import main; main()"
        demo = ["demo", "--data", folder + "/demo", "--port", str(port)]
        with subprocess.Popen([sys.executable, "-c", code, *demo]) as process:
            address = f"http://127.0.0.1:{port}"
            _wait_for(address)
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path=chromium, args=["--no-sandbox", "--disable-gpu"]
                )
                for name, role in PAGES:
                    person = next(p for p in people() if role in p.roles)
                    page = browser.new_context(
                        viewport={"width": SIZE[0], "height": SIZE[1]}
                    ).new_page()
                    page.goto(f"{address}/sign-in")
                    page.fill("input[name=name]", person.name)
                    page.fill("input[name=password]", person.password)
                    page.click("main button[type=submit]")
                    page.goto(f"{address}/{name}")
                    _keep(page.screenshot(), OUT / f"{name}.png")
                browser.close()
            process.terminate()


def _wait_for(address: str) -> None:
    for _ in range(600):
        try:
            urlopen(f"{address}/healthz", timeout=1).close()
            return
        except OSError:
            time.sleep(0.1)
    raise TimeoutError(f"{address} did not answer")


def _keep(picture: bytes, path: Path) -> None:
    """Neutral pages need few colours; a palette makes the file a third as large."""
    path.parent.mkdir(exist_ok=True)
    with Image.open(io.BytesIO(picture)) as opened:
        opened.convert("RGB").quantize(64, dither=Image.Dither.NONE).save(path, optimize=True)


if __name__ == "__main__":
    main()
