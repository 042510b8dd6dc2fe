"""Keeping the collector of cyclic garbage out of work that makes many objects which all stay."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def no_collecting() -> Iterator[None]:
    """Do not look for cyclic garbage meanwhile: among millions of objects that stay, it takes as long as the work."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()
