"""What runs in the second process (see `forecast.dashboard.aside`): one errand after the other, until the server ends.

It imports nothing of the pages: what they are drawn with takes more room than all that is worked out here.
"""

from __future__ import annotations

import os
import pickle
import queue
import struct
import threading
from typing import IO, Any

_COUNT = struct.Struct("<Q")


def send(pipe: IO[bytes], what: object) -> None:
    """Write something down a pipe, its arrays as they lie in memory."""
    arrays: list[pickle.PickleBuffer] = []
    parts: list[Any] = [pickle.dumps(what, protocol=5, buffer_callback=arrays.append)]
    parts += [array.raw() for array in arrays]
    pipe.write(b"".join(_COUNT.pack(count) for count in (len(parts), *map(len, parts))))
    for part in parts:
        pipe.write(part)
    pipe.flush()


def receive(pipe: IO[bytes]) -> Any:
    """Read what was sent.

    Raises
    ------
    EOFError
        When the other side is gone.
    """
    (count,) = _COUNT.unpack(_read(pipe, _COUNT.size))
    sizes = [_COUNT.unpack(_read(pipe, _COUNT.size))[0] for _ in range(count)]
    first, *arrays = [_read(pipe, size) for size in sizes]
    return pickle.loads(first, buffers=arrays)


def _read(pipe: IO[bytes], size: int) -> bytearray:
    found = bytearray(size)
    view, done = memoryview(found), 0
    while done < size:
        more = pipe.readinto(view[done:])  # type: ignore[attr-defined]
        if not more:
            raise EOFError
        done += more
    return found


def main() -> None:
    """Do what comes down the pipe; end with whoever holds its other side."""
    errands, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    nothing = os.open(os.devnull, os.O_RDWR)
    os.dup2(nothing, 0)
    os.dup2(nothing, 1)  # what a library prints is no answer

    taken: queue.SimpleQueue[Any] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(errands, taken), daemon=True).start()
    import forecast.decide.firm_up  # noqa: F401 - so that the first errand need not wait for it

    while True:
        work, arguments = taken.get()
        try:
            found = True, work(*arguments)
        except Exception as error:  # the server works it out again, and tells what went wrong
            found = False, repr(error)
        del work, arguments
        send(answers, found)


def _listen(errands: IO[bytes], taken: queue.SimpleQueue[Any]) -> None:
    """Take what comes, and end at once when the server is gone, in the middle of an errand too."""
    try:
        while True:
            taken.put(receive(errands))
    except BaseException:
        os._exit(0)


if __name__ == "__main__":
    main()
