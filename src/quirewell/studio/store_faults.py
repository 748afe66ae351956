"""How a store of originals that lies elsewhere says no, each in one sentence with a way on."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from errno import EACCES, EPERM, EROFS

from quirewell.studio.faults import StudioError, is_disk_full

_KEYS_MISSING = frozenset(
    {"NoCredentialsError", "PartialCredentialsError", "ProfileNotFound", "TokenRetrievalError",
     "CredentialRetrievalError", "SSOTokenLoadError", "UnauthorizedSSOTokenError"}
)  # fmt: skip
_FULL = ("StorageFull", "QuotaExceeded", "InsufficientStorage", "insufficient storage")


class StoreFault(StudioError):
    """The place where the originals lie could not do what was asked; nothing was half kept."""


class StoreAway(StoreFault):
    """It cannot be reached just now."""


class StoreRefuses(StoreFault):
    """It does not let this machine in, or not do this."""


class StoreFull(StoreFault):
    """It has no room."""


class StoreChanged(StoreFault):
    """What lies under an original's name is not that original."""


@contextmanager
def store_told(place: str) -> Iterator[None]:
    """Turn whatever a store's client raises into one of the sentences above.

    What the studio itself says and ``FileNotFoundError`` (no such original) pass through.
    """
    try:
        yield
    except (StudioError, FileNotFoundError):
        raise
    except Exception as error:
        if not _of_a_store(error):
            raise
        raise fault_of(error, place) from error


def _of_a_store(error: BaseException) -> bool:
    """Whether an error is one of input and output or of the client's, and no fault of ours."""
    origin = type(error).__module__.partition(".")[0]
    return isinstance(error, OSError) or origin in {"botocore", "aiobotocore", "aiohttp", "fsspec"}


def fault_of(error: BaseException, place: str) -> StoreFault:
    """The fault that an error of the client means. Reasons and codes, never keys, are repeated."""
    names = {kind.__name__ for kind in type(error).__mro__}
    said = f"{type(error).__name__}: {error}"
    cause = getattr(error.__cause__, "response", None)
    if isinstance(cause, dict):
        said += f" ({cause.get('Error', {}).get('Code', '')})"
    if names & _KEYS_MISSING:
        return StoreRefuses(
            f"no credentials for {place} were found on this machine; give them in the environment "
            "(AWS_PROFILE, or AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY) or in the S3 client's "
            "own file, then do it once more. Nothing is lost"
        )
    if is_disk_full(error) or any(word in said for word in _FULL):
        return StoreFull(
            f"{place} has no room left; nothing was half kept. Make room there, then do it once "
            "more: what is already in is recognised"
        )
    denied = isinstance(error, OSError) and error.errno in (EACCES, EPERM, EROFS)
    if denied or isinstance(error, PermissionError):
        return StoreRefuses(
            f"{place} does not allow this ({error}); ask whoever looks after it for leave to read "
            "and write there, then do it once more. Nothing is lost"
        )
    return StoreAway(
        f"{place} cannot be reached just now ({_short(said)}); look at the network, then do it "
        "once more. Nothing is lost"
    )


def _short(words: str) -> str:
    line = " ".join(words.split())
    return line if len(line) <= 160 else f"{line[:159]}…"
