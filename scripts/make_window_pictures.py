"""Take the pictures of the window: every stage, light and dark, text of usual and of twice the size.

``python scripts/make_window_pictures.py [FOLDER [GROUND]]`` writes into ``sample_layers/pictures``, or into the folder
named; it shows the sample ground, or the one named.
Nothing is shown on a screen.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

os.environ["QT_QPA_PLATFORM"] = "offscreen"

if TYPE_CHECKING:
    from gravegis.window.frame import Window

ROOT = Path(__file__).resolve().parent.parent
SIZE = (1400, 950)
COLOURS_N = 128
LOOKS = (("light", "light", 0), ("dark", "dark", 0), ("large", "light", 4))


def main() -> int:
    """Make the sample ground with every result, open it and take the pictures."""
    from PySide6.QtCore import QSettings
    from PySide6.QtWidgets import QApplication

    from gravegis import pipeline, sample, store
    from gravegis.window.main import make_window

    out = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "sample_layers" / "pictures"
    out.mkdir(parents=True, exist_ok=True)
    app = QApplication([])
    with tempfile.TemporaryDirectory() as beside:
        folder = Path(beside) / "ground"
        if len(sys.argv) > 2:  # a ground with every result, so that it need not be worked out again
            shutil.copytree(sys.argv[2], folder)
        else:
            store.save(pipeline.run(sample.read(sample.find())).site, folder)
        window = make_window(QSettings(str(Path(beside) / "look.ini"), QSettings.Format.IniFormat))
        window.resize(*SIZE)
        window.show()
        settle(app, window)
        keep(window, out / "first_page.png")
        window.open(folder)
        for name, theme, steps in LOOKS:
            window.larger(-4)
            window.larger(steps)
            window.dark(theme == "dark")
            stages(app, window, out, name)
        window.close()
    return 0


def stages(app: object, window: Window, out: Path, name: str) -> None:
    """Take a picture of every stage; the worst stone is picked on the stages that speak of stones."""
    from gravegis.window.stages import STAGES

    for stage in STAGES:
        window.go_to_stage(stage)
        if stage in ("wetting", "condition"):
            window.step(1)
        else:
            window.unpick()
            window.map.canvas.whole_ground()
        if stage == "wetting":
            window.strip.clock.rows.moved.emit(150.0)
        settle(app, window)
        keep(window, out / f"{name}_{stage}.png")
    window.pick("heads", str(window.desk.site["heads"]["head_id"].iloc[0]) if window.desk else "")
    window.head_by_hand(window.picked[1] if window.picked else "")
    window.map.canvas.go_to(*(window.picked or ("heads", "")))
    settle(app, window)
    keep(window, out / f"{name}_head.png")
    window.unpick()


def keep(window: Window, file: Path) -> None:
    """Write a picture of the window in few colours, which makes it a quarter as large."""
    from PIL import Image

    window.grab().save(str(file))
    with Image.open(file) as taken:
        few = taken.convert("RGB").quantize(colors=COLOURS_N, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    few.save(file, optimize=True)


def settle(app: object, window: Window) -> None:
    """Wait until nothing is worked out and the picture is sharp."""
    from PySide6.QtCore import QCoreApplication

    del app
    until = time.monotonic() + 0.5
    while time.monotonic() < until or window._drawer.is_running or window.deeds.runner.is_running:
        QCoreApplication.processEvents()
        time.sleep(0.01)
    sharp: list[bool] = []
    window.map.canvas.ready.connect(lambda: sharp.append(True))
    window.map.canvas.refresh()
    until = time.monotonic() + 10
    while not sharp and time.monotonic() < until and window.map.canvas.isVisible():
        QCoreApplication.processEvents()
        time.sleep(0.01)


if __name__ == "__main__":
    raise SystemExit(main())
