"""What a command puts off or leaves out in its own process, so that it starts and ends quickly.

Modules that other libraries import in case somebody needs them are loaded when somebody does:
trimesh loads networkx, the whole of scipy.optimize and its drawing room for functions that
no command calls; scipy loads numpy's Fortran generator. Together they took a third of the
start of a command. The command line owns its process and may put this off; a library must
not, so that nothing of it happens on ``import shrinkrule``.
"""

from __future__ import annotations

import atexit
import gc
import os
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from types import ModuleType
from typing import Any, Final

LATE: Final[Mapping[str, tuple[str, ...]]] = {
    "networkx": ("Graph",),
    "numpy.f2py": (),
    "numpy.testing": (),
    "scipy.ndimage": (),
    "scipy.optimize": (),
    "scipy.spatial.distance": ("euclidean",),
    "scipy.spatial.transform": (),
    "trimesh.nsphere": ("fit_nsphere",),
    "trimesh.repair": (),
    "trimesh.voxel": (),
}
"""Late modules, and the names that others import out of them at their own start."""

_loading: Final = threading.RLock()

_USUAL: Final = gc.get_threshold()[0]

_SELDOM: Final = 50_000
"""New objects after which garbage is looked for while modules load."""


class LateModule(ModuleType):
    """A module that runs its code when something is first looked up in it."""

    def __getattr__(self, name: str) -> Any:
        """Load the module, then look up."""
        if name == "__path__":
            # Asked at every import from a module; a package has had one from the start.
            raise AttributeError(name)
        load(self)
        return getattr(self, name)


class LateLoader(Loader):
    """Makes a late module; `real` is the loader that will run its code.

    The standard library's own lazy loader runs the code at the second ``import`` already.
    """

    def __init__(self, real: Loader) -> None:
        self.real = real

    def create_module(self, spec: ModuleSpec) -> ModuleType | None:
        """Leave making the module to Python."""
        return None

    def exec_module(self, module: ModuleType) -> None:
        """Run nothing yet, but have the names that will be imported at once."""
        for name in LATE[module.__name__]:
            setattr(module, name, _stand_in(module, name))
        module.__class__ = LateModule


def _stand_in(module: ModuleType, name: str) -> Callable[..., Any]:
    """Make something that does, when called, what the name of the loaded module does."""

    def call(*arguments: Any, **options: Any) -> Any:
        load(module)
        return getattr(module, name)(*arguments, **options)

    return call


def load(module: ModuleType) -> None:
    """Run the code of a late module, if that is still to be done."""
    with _loading:
        spec = module.__spec__
        if spec is None or not isinstance(spec.loader, LateLoader):
            return
        module.__loader__ = spec.loader = spec.loader.real
        module.__class__ = ModuleType
        spec.loader.exec_module(module)


class LateFinder(MetaPathFinder):
    """Finds the modules of `LATE`; all others are left to the usual finders."""

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Spec of a late module. What lies inside one is looked for after it has been loaded."""
        parent = sys.modules.get(fullname.rpartition(".")[0])
        if isinstance(parent, LateModule):
            load(parent)
        if fullname not in LATE:
            return None
        spec = PathFinder.find_spec(fullname, path, target)
        if spec is not None and spec.loader is not None:
            spec.loader = LateLoader(spec.loader)
        return spec


def load_late() -> None:
    """Put off the modules of `LATE` in this process."""
    if not any(isinstance(finder, LateFinder) for finder in sys.meta_path):
        sys.meta_path.insert(0, LateFinder())


def start() -> None:
    """Put off the modules of `LATE`, and the search for garbage until `started`."""
    load_late()
    gc.set_threshold(_SELDOM, *gc.get_threshold()[1:])


def started() -> None:
    """Search for garbage as usual from here on, but not among what was loaded."""
    often, *others = gc.get_threshold()
    if often == _SELDOM:
        gc.freeze()
        gc.set_threshold(_USUAL, *others)


class Leaving:
    """Ends the process with a code once all else that waits for the end has run.

    Parameters
    ----------
    code : int
        What to end with, until `code` is set to something else.
    """

    def __init__(self, code: int) -> None:
        self.code = code
        # What is registered first runs last.
        atexit.register(self._leave)

    def _leave(self) -> None:
        """End without unloading anything: that would take a tenth of a small part's time."""
        for stream in (sys.stdout, sys.stderr):
            try:
                stream.flush()
            except OSError:  # nobody reads any more
                self.code = self.code or 1
        os._exit(self.code)
