"""The lines of print in a photo, read on this machine by the optional package rapidocr, whose models come inside it."""

from __future__ import annotations

import importlib.util
import io
import math
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from statistics import median
from threading import Lock
from typing import Any

from forecast.errors import LedgerError

HOW_TO_ADD = "To have photos read, install forecast with its extra photos and start it again."
MOST_PIXELS = 80_000_000
"""A photo with more is no photo of a receipt."""
_LONGEST_SIDE = 1400
_ONE_AT_A_TIME = Lock()  # each photo takes both cores for a second or two


def can_read_photos() -> bool:
    """Tell whether the optional package is installed."""
    return all(importlib.util.find_spec(name) is not None for name in ("rapidocr", "onnxruntime"))


def lines_in_photo(content: bytes, name: str) -> list[str]:
    """Read the print in a photo, line by line as it lies on the paper.

    Parameters
    ----------
    content : bytes
    name : str
        Of the file, for messages.

    Raises
    ------
    LedgerError
        If the picture cannot be opened.
    """
    picture = _picture(content, name)
    with _ONE_AT_A_TIME:
        found = _engine()(picture)
    if found.boxes is None:
        return []
    return laid_out([(box.tolist(), str(text)) for box, text in zip(found.boxes, found.txts, strict=True)])


def laid_out(pieces: Sequence[tuple[Sequence[Sequence[float]], str]]) -> list[str]:
    """Put pieces of print into lines: what stands at one height, turned as the paper is, belongs to one line.

    Parameters
    ----------
    pieces : sequence
        Each with its four corners, from the upper left one clockwise, and its text.
    """
    if not pieces:
        return []
    long = [box for box, text in pieces if len(text) > 3] or [box for box, _ in pieces]
    turn = median(math.atan2(box[1][1] - box[0][1], box[1][0] - box[0][0]) for box in long)
    sine, cosine = math.sin(-turn), math.cos(-turn)
    placed = []
    for box, text in pieces:
        across = [x * cosine - y * sine for x, y in box]
        down = [x * sine + y * cosine for x, y in box]
        placed.append((sum(down) / 4, min(across), max(across), max(down) - min(down), text))
    placed.sort()
    rows: list[list[tuple[float, float, float, float, str]]] = []
    for piece in placed:
        if rows and piece[0] - median(one[0] for one in rows[-1]) < 0.55 * min(piece[3], rows[-1][-1][3]):
            rows[-1].append(piece)
        else:
            rows.append([piece])
    lines = []
    for row in rows:
        row.sort(key=lambda piece: piece[1])
        line, end = "", -math.inf
        for _, left, right, height, text in row:
            line += ("   " if left - end > 1.5 * height else " ") * bool(line) + text.strip()
            end = right
        lines.append(line)
    return lines


def _picture(content: bytes, name: str) -> Any:
    import numpy as np
    from PIL import Image, ImageOps

    try:
        with Image.open(io.BytesIO(content)) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                message = (
                    f"{name}: has too many pixels for a photo. It can be kept; enter the receipt by hand."
                )
                raise LedgerError(message)
            opened.draft("RGB", (2 * _LONGEST_SIDE, 2 * _LONGEST_SIDE))
            turned = ImageOps.exif_transpose(opened).convert("RGB")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        message = (
            f"{name}: the picture cannot be opened here. It can be kept; enter it by hand, or send a JPEG."
        )
        raise LedgerError(message) from None
    turned.thumbnail((_LONGEST_SIDE, _LONGEST_SIDE))
    return np.asarray(turned)[:, :, ::-1]  # blue first, as the package has it


@cache
def _engine() -> Any:
    """Load the package's own models, by their files: without a name of a file it would look for others elsewhere."""
    import rapidocr

    folder = Path(str(rapidocr.__file__)).parent / "models"
    models = {}
    for part, sign in (("Det", "_det_"), ("Rec", "_rec_"), ("Cls", "_cls_")):
        (models[f"{part}.model_path"],) = (str(file) for file in folder.glob("*.onnx") if sign in file.name)
    return rapidocr.RapidOCR(params={"Global.log_level": "critical", **models})


__all__ = ["HOW_TO_ADD", "MOST_PIXELS", "can_read_photos", "laid_out", "lines_in_photo"]
