"""The equilibrium for one set of held directions: preconditioned conjugate gradients."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.progress import Tick
from shrinkrule.sag.fem.elements import Bricks
from shrinkrule.sag.fem.multigrid.cycle import Multigrid
from shrinkrule.sag.fem.operator import Stiffness
from shrinkrule.sag.fem.rigid_modes import Bodies, null_space
from shrinkrule.sag.settings import does_not_stand

MAX_ITERATIONS: Final = 400
_NOTHING: Final = 1e-300  # an error energy so small is the rounding of zero
_BALANCE: Final = 0.5  # of a brick: a centre of mass this near over an edge or a point balances


@dataclass(frozen=True)
class Solution:
    """A displacement in equilibrium.

    Parameters
    ----------
    displacement : (n, 4) float
        At the nodes, mm.
    iterations : int
        Conjugate-gradient iterations.
    error : float
        Estimated error in the energy norm, relative.
    converged : bool
        Whether the tolerance was reached.
    free_modes : int
        Rigid-body modes that nothing resists: the dimension of the null space.
    """

    displacement: Floats
    iterations: int
    error: float
    converged: bool
    free_modes: int


@dataclass(frozen=True)
class Springs:
    """Upright springs under nodes.

    Parameters
    ----------
    node : (s,) int
        The nodes, each once.
    stiffness : (s,) float
        Stiffness over modulus, mm.
    place : (s,) float
        Upward displacement at which each is slack, mm.
    """

    node: Ints
    stiffness: Floats
    place: Floats

    def spread(self, values: Floats, nodes: int) -> Floats:
        """Values (s,) in the upward direction of all nodes, (n, 4)."""
        spread = np.zeros((nodes, 4))
        spread[self.node, 2] = values
        return spread


def _dot(a: Floats, b: Floats) -> float:
    """Sum of products, by one thread: many threads only wait for each other here."""
    return float(np.einsum("ij,ij->", a, b))


NO_SPRINGS: Final = Springs(np.empty(0, dtype=np.int64), np.empty(0), np.empty(0))


class Equilibrium:
    """The bricks under a load, solved for one set of held directions after another.

    Parameters
    ----------
    bricks : Bricks
        The bricks, for a modulus of one.
    bodies : Bodies
        Their bodies.
    load : (n, 4) float
        Force over modulus at each node, mm2.
    """

    def __init__(self, bricks: Bricks, bodies: Bodies, load: Floats) -> None:
        self.bricks = bricks
        self.bodies = bodies
        self.load = load
        self._exact = Stiffness(bricks, np.float64)
        self._multigrid = Multigrid(bricks)

    def reactions(self, displacement: Floats) -> Floats:
        """Forces over modulus (n, 4) with which the held directions answer, mm2."""
        forces: Floats = self._exact.apply(displacement) - self.load
        return forces

    def solve(
        self,
        free: Floats,
        start: Floats,
        tolerance: float,
        tick: Tick | None = None,
        springs: Springs = NO_SPRINGS,
        upward: Floats | None = None,
    ) -> Solution:
        """Find the equilibrium for one set of held directions.

        Parameters
        ----------
        free : (n, 4) float
            One where a node may move; zero where it is held at its value in ``start``.
        start : (n, 4) float
            Displacement to begin with, mm.
        tolerance : float
            Relative error in the energy norm at which the iteration stops.
        tick : callable or None
            Called with the share of the way to the tolerance, 0 to 1.
        springs : Springs
            What else resists.
        upward : (n,) float or None
            Upward forces over modulus besides the load, mm2.

        Raises
        ------
        MeshError
            If the weight does work in a mode that nothing resists.
        """
        unsprung = free.copy()
        unsprung[springs.node, 2] = 0.0
        modes = null_space(self.bricks, self.bodies, unsprung)
        # Virtual work of the weight in each mode, scaled to a largest displacement of one.
        work = np.array([abs(_dot(mode, self.load)) / np.abs(mode).max() for mode in modes])
        extent = float((np.ptp(self.bricks.nodes, axis=0) * self.bricks.brick.size).max())
        balanced = _BALANCE * float(self.bricks.brick.size.max()) / extent
        if np.any(work > balanced * np.abs(self.load).sum()):
            raise does_not_stand("nothing holds the part up against tipping or falling")
        self._multigrid.hold(free, springs.spread(springs.stiffness, len(free)))
        load = self.load + springs.spread(springs.stiffness * springs.place, len(free))
        if upward is not None:
            load[:, 2] += upward
        return self._conjugate_gradients(free, start, modes, springs, load, tolerance, tick)

    def _conjugate_gradients(
        self,
        free: Floats,
        start: Floats,
        modes: Floats,
        springs: Springs,
        load: Floats,
        tolerance: float,
        tick: Tick | None,
    ) -> Solution:
        """Iterate from ``start`` (n, 4), orthogonal to the free rigid-body ``modes`` (k, n, 4)."""

        def without_modes(v: Floats) -> Floats:
            for mode in modes:
                v = v - _dot(mode, v) * mode
            return v

        def precondition(r: Floats) -> Floats:
            scale = np.abs(r).max()
            if scale == 0.0:
                return np.zeros_like(r)
            cycled = self._multigrid.cycle((r / scale).astype(np.float32))
            return without_modes(cycled.astype(np.float64) * scale)

        stiffness = springs.spread(springs.stiffness, len(free))
        x = start.copy()
        residual = without_modes((load - self._exact.apply(x) - stiffness * x) * free)
        z = precondition(residual)
        direction = z.copy()
        product = first = _dot(residual, z)
        iterations, error = 0, self._error(product, x)
        while error > tolerance and iterations < MAX_ITERATIONS:
            forces = (self._exact.apply(direction) + stiffness * direction) * free
            length = product / _dot(direction, forces)
            x += length * direction
            residual -= length * forces
            z = precondition(without_modes(residual))
            previous, product = product, _dot(residual, z)
            direction = z + (product / previous) * direction
            iterations += 1
            error = self._error(product, x)
            if tick is not None:
                done = np.log(max(product, 1e-300) / first) / np.log(tolerance**2)
                tick(float(np.clip(done, 0.0, 1.0)))
        x = without_modes(x * free) + x * (1.0 - free)
        return Solution(x, iterations, error, error <= tolerance, len(modes))

    def _error(self, product: float, x: Floats) -> float:
        """Energy of the error, as the preconditioner sees it, against the energy of the load."""
        energy = abs(_dot(self.load, x))
        if abs(product) < _NOTHING:
            return 0.0
        return float(np.sqrt(abs(product) / energy)) if energy > 0.0 else np.inf
