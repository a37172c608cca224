"""Compiled loops, kept on disk under the content of all kernel files together.

A compiled function holds what it calls, constants included. Kept under its own file alone, as numba does, it
would outlive a change of a helper in another file and go on computing the old physics. Here everything compiled
lies in a folder named by a digest of every ``*kernels.py`` of the package, so that a change of any of them starts
an empty folder. Kernel files import nothing else from the package: what is not in the digest cannot be compiled in.
"""

from __future__ import annotations

import hashlib
import logging
import os
import stat
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from pickle import UnpicklingError
from typing import Any

import numba
from numba.core.caching import CompileResultCacheImpl, FunctionCache, IndexDataCacheFile, _CacheLocator

PACKAGE = Path(__file__).parent
KEPT_DAYS = 60
"""A folder of other kernel files than today's is deleted when nothing was added to it for so long."""
_COMPLETE = "complete"
_log = logging.getLogger("roomfield")


def kernel(**options: Any) -> Callable[[Callable[..., Any]], Any]:
    """Decorator: compile a function that Python calls, and keep it on disk.

    Parameters
    ----------
    **options
        As of `numba.njit`, without ``cache``.
    """

    def compiled(function: Callable[..., Any]) -> Any:
        loop = numba.njit(**options)(function)
        if FOLDER is not None:
            loop._cache = _KernelCache(function)
        return loop

    return compiled


def inner(**options: Any) -> Callable[[Callable[..., Any]], Any]:
    """Decorator: compile a function that only kernels call; it is kept inside of them and not by itself.

    Parameters
    ----------
    **options
        As of `numba.njit`, without ``cache``.
    """
    return numba.njit(no_cpython_wrapper=True, no_cfunc_wrapper=True, **options)  # type: ignore[no-any-return]


def digest(package: Path = PACKAGE) -> str:
    """Sixteen hexadecimal digits that change with any kernel file, with numba and with Python.

    Parameters
    ----------
    package : Path
        Folder that holds the kernel files, at any depth.
    """
    summed = hashlib.sha256(f"{numba.__version__} {sys.version}".encode())
    for file in sorted((*package.rglob("*kernels.py"), package / "kernel_cache.py")):
        summed.update(file.relative_to(package).as_posix().encode())
        summed.update(file.read_bytes())
    return summed.hexdigest()[:16]


def is_complete() -> bool:
    """Whether all that the job needs has been compiled and kept by an earlier run."""
    return FOLDER is not None and (FOLDER / _COMPLETE).exists()


def mark_complete() -> None:
    """Note that all that the job needs has been compiled and kept."""
    if FOLDER is not None:
        (FOLDER / _COMPLETE).touch()


class _Locator(_CacheLocator):  # type: ignore[misc]
    """Where one function's compiled forms lie."""

    def __init__(self, module: str, line: int) -> None:
        self._module, self._line = module, line
        self._py_file = module

    def get_cache_path(self) -> str:
        return str(FOLDER)

    def get_source_stamp(self) -> str:
        return ""

    def get_disambiguator(self) -> str:
        return f"{self._module}-{self._line}"

    @classmethod
    def from_function(cls, py_func: Callable[..., Any], py_file: str) -> _Locator:
        return cls(py_func.__module__, py_func.__code__.co_firstlineno)


class _OneFileEach(IndexDataCacheFile):  # type: ignore[misc]
    """A file for each signature, named by it: two processes that compile at once never mix up their results."""

    def save(self, key: object, data: object) -> None:
        self._save_data(self._named(key), data)

    def load(self, key: object) -> Any:
        try:
            return self._load_data(self._named(key))
        except OSError:
            return None

    def _named(self, key: object) -> str:
        name: str = self._data_name(0)
        return f"{name}.{hashlib.sha256(repr(key).encode()).hexdigest()[:16]}"


class _KernelCacheImpl(CompileResultCacheImpl):  # type: ignore[misc]
    _locator_classes = (_Locator,)


class _KernelCache(FunctionCache):  # type: ignore[misc]
    """numba's own cache, in our folder; a full disk costs the keeping, never the answer."""

    _impl_class = _KernelCacheImpl

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)
        self._cache_file = _OneFileEach(self.cache_path, self._impl.filename_base, "")

    def load_overload(self, sig: object, target_context: object) -> Any:
        try:
            return super().load_overload(sig, target_context)
        except (OSError, EOFError, ValueError, UnpicklingError) as fault:
            _log.info("a compiled loop was not read from %s: %s", self.cache_path, fault)
            return None

    def save_overload(self, sig: object, data: object) -> None:
        try:
            super().save_overload(sig, data)
        except OSError as fault:
            _log.info("a compiled loop was not kept in %s: %s", self.cache_path, fault)


def _user_folder() -> Path:
    if os.name == "nt":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "roomfield" / "kernels"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "roomfield" / "kernels"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "roomfield" / "kernels"


def _candidates() -> Iterator[Path]:
    """Where compiled code may be kept, best first: where numba is told to, the user's cache, the temporary folder."""
    if numba.config.CACHE_DIR:
        yield Path(numba.config.CACHE_DIR) / "roomfield"
    try:
        yield _user_folder()
    except RuntimeError:
        _log.info("this user has no home folder")
    user = str(os.getuid()) if hasattr(os, "getuid") else "user"
    try:
        yield Path(tempfile.gettempdir()) / f"roomfield-kernels-{user}"
    except FileNotFoundError:
        _log.info("this computer has no temporary folder that can be written")


def _is_ours(folder: Path) -> bool:
    """Whether nobody else can put code into a folder: compiled code that is read is run."""
    if not hasattr(os, "getuid"):
        return True
    found = folder.lstat()
    mine = stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid()
    return mine and not found.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def _usable(parent: Path, name: str) -> Path | None:
    """The folder for today's kernel files, made if need be; None if it cannot be written or is not ours alone."""
    folder = parent / name
    try:
        parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        folder.mkdir(mode=0o700, exist_ok=True)
        if not (_is_ours(parent) and _is_ours(folder)):
            return None
        tempfile.TemporaryFile(dir=folder).close()
    except OSError:
        return None
    return folder


def _forget_old(parent: Path, name: str) -> None:
    """Delete what was kept for kernel files of long ago."""
    oldest = time.time() - KEPT_DAYS * 86400
    try:
        for folder in parent.iterdir():
            if folder.name != name and folder.is_dir() and folder.stat().st_mtime < oldest:
                for file in folder.iterdir():
                    file.unlink()
                folder.rmdir()
    except OSError as fault:
        _log.info("old compiled loops were left in %s: %s", parent, fault)


def _place() -> Path | None:
    try:
        name = digest()
    except OSError:
        return None
    for parent in _candidates():
        folder = _usable(parent, name)
        if folder is not None:
            _forget_old(parent, name)
            return folder
    return None


FOLDER = _place()
"""Where compiled loops are kept; None if there is nowhere, and each run compiles anew."""
if FOLDER is None:
    _log.info("compiled loops are kept nowhere: no folder can be written")
