"""The process that opens one joint file behind the decoder's walls, and hands on arrays.

Started by `workers.joints_in.walled` as a fresh interpreter. It knows the file as an open
descriptor and writes to its standard output: one line of JSON, then the arrays. What is wrong with
the file is a code with numbers and short names.
"""

from __future__ import annotations

import json
import os
import traceback
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from models.contract.errors import InvalidRequest
from models.contract.note_codes import NoteCode, say
from models.words import english
from workers.joints_in.contents import JointFile
from workers.joints_in.reading import read_joint_file
from workers.video.hardening import harden
from workers.video.limits import DecodeLimits

LOGGED = 4000
"""Characters of a trace that are told."""


def main(file_fd: int, out_fd: int, parent: int, job_fd: int) -> None:
    """Read one file; the descriptors are inherited from the parent."""
    with os.fdopen(job_fd) as told:
        job = json.load(told)
    _warm_up()
    harden(DecodeLimits.of(job["limits"]), parent, file_fd)
    with os.fdopen(out_fd, "wb") as out:
        head, arrays = _read(file_fd, job["suffix"], job["markers"])
        out.write(json.dumps(head).encode() + b"\n" + arrays)
    os._exit(0)  # else Python would flush a log that may not grow here, and call that a failure


def _warm_up() -> None:
    """Load what numpy and the words load at their first use, while files can still be opened."""
    with suppress(ImportError):  # an extra: whoever reads C3D says that it is missing
        import ezc3d  # noqa: F401
    english()
    JointFile.from_bytes(JointFile().to_bytes())


def _read(
    file_fd: int, suffix: str, markers: Mapping[str, Any] | None
) -> tuple[dict[str, Any], bytes]:
    try:
        found = read_joint_file(Path(f"/proc/self/fd/{file_fd}"), suffix, markers)
        return {"code": None}, found.to_bytes()
    except MemoryError:
        pass  # what was read is let go of only after this block
    except InvalidRequest as error:
        return _told(error), b""
    except Exception:
        return {"code": "internal_error", "trace": traceback.format_exc()[-LOGGED:]}, b""
    except BaseException as error:
        # pydantic's reader of JSON panics so when it is refused memory; its class has no address
        if type(error).__name__ != "PanicException":
            raise
    return _told(InvalidRequest(say(NoteCode.JOINT_FILE_TOO_MUCH))), b""


def _told(error: InvalidRequest) -> dict[str, Any]:
    if isinstance(error.said, str):  # words that no catalogue has: the code's own are said
        return {"code": error.code}
    return {
        "code": error.code,
        "said": error.said.code,
        "parameters": dict(error.said.parameters),
    }
