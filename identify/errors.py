"""Every error that a person may meet, as one tree.

    BaitprintError
    ├── PhotoError
    │   ├── PhotoMissing          photo-missing
    │   ├── PhotoUnreadable       photo-unreadable
    │   ├── PhotoTooLarge         photo-too-large
    │   └── WorkerLost            worker-lost
    ├── FolderUnreadable          folder-unreadable
    ├── ReferenceSetError
    │   ├── SetMissing            set-missing
    │   └── SetFaulty             set-faulty
    ├── NotLearned                not-learned
    │   └── Contradicts           contradicts-profile
    ├── BadArchive                bad-archive
    ├── ImportDiffers             import-differs
    ├── BadOption                 bad-option
    └── CannotWrite               cannot-write
        └── OutputInUse           output-in-use

`code` is stable and may be relied on by other programs; `str(error)` is one plain sentence about what is wrong and
`what_to_do` one about how to mend it.
"""

from __future__ import annotations

import os


class BaitprintError(Exception):
    """The root of the tree: something that cannot be done, said so that a collector knows what to do next."""

    code = "error"

    def __init__(self, text: str, what_to_do: str = "") -> None:
        super().__init__(text)
        self.what_to_do = what_to_do

    @property
    def message(self) -> str:
        """What is wrong and what to do, as one text."""
        return f"{self} {self.what_to_do}".strip()


class PhotoError(BaitprintError):
    """A photo that cannot be used at all."""


class PhotoMissing(PhotoError):
    """There is no such photo."""

    code = "photo-missing"


class PhotoUnreadable(PhotoError):
    """The file is there, but no picture can be read from it."""

    code = "photo-unreadable"


class PhotoTooLarge(PhotoError):
    """The picture has more pixels than the limit."""

    code = "photo-too-large"


class WorkerLost(PhotoError):
    """The process that measured the photo ended or hung; the next sort tries it again."""

    code = "worker-lost"


class FolderUnreadable(BaitprintError):
    """A folder within the one to be sorted cannot be looked into."""

    code = "folder-unreadable"


class ReferenceSetError(BaitprintError):
    """A reference set that cannot be used."""


class SetMissing(ReferenceSetError):
    """There is no such reference set."""

    code = "set-missing"


class SetFaulty(ReferenceSetError):
    """The reference set has faults; `refs lint` lists them."""

    code = "set-faulty"


class NotLearned(BaitprintError):
    """A photo that a profile cannot be learned from."""

    code = "not-learned"


class Contradicts(NotLearned):
    """A photo that shows another bait than the profile it was to go into."""

    code = "contradicts-profile"


class BadArchive(BaitprintError):
    """A zip file that is no reference set, or not a safe one."""

    code = "bad-archive"


class ImportDiffers(BaitprintError):
    """A set to be imported has models that are there already and differ."""

    code = "import-differs"


class BadOption(BaitprintError):
    """A value given on the command line or to a function that makes no sense."""

    code = "bad-option"


class CannotWrite(BaitprintError):
    """A result cannot be written where it was asked for."""

    code = "cannot-write"


class OutputInUse(CannotWrite):
    """Another sort writes to the same folder."""

    code = "output-in-use"


INTERNAL = "internal-error"


def internal(fault: Exception) -> str:
    """What to say of an exception that nobody foresaw."""
    trace = fault.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    code = trace.tb_frame.f_code if trace is not None else None
    where = f" in {os.path.basename(code.co_filename)} line {trace.tb_lineno}" if code and trace else ""  # noqa: PTH119
    said = f": {fault}" if str(fault) else ""
    return (
        f"Something went wrong inside baitprint ({type(fault).__name__}{said}{where}). This is a fault of the program, "
        "not of your photo: please report it with these words, what `baitprint about` prints and, if you can, the "
        "photo."
    )
