"""Give each cell of the plan its plane by minimising one energy, exactly.

The energy is in square metres, so that one set of weights serves every density: about half of the area
that speaks against a label, and a price a metre for every change of label.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse.csgraph import connected_components

from ..scene import Array
from .arrangement import Cells
from .candidates import PlanLine
from .evidence import Evidence

CUT_PRICE_M = 0.10  # m² a metre of cut; anything from 0.05 to 0.2 gives the same roofs
HALF_COVER = 0.4  # share of a cell that points must cover to make it roof; real notches are quite empty
NOT_MINE = 4.0  # factor for a label that ends along a line which does not belong to it
NO_OUTLINE = 6.0  # factor for the outside along a crease: where two planes meet is hardly where one ends
KEEP_SHARE = 0.5  # of its own points' area that every plane keeps; else small dormer faces vanish
GROUND_WEIGHT = 0.25  # ground seen through a cell speaks against roof, half as loud as roof points
FIXED_MARGIN = 1e-6
SHADOW_WIDTH_M = 0.7  # a wider strip without points is a gap between roofs
SHADOW_OPEN = 1 / 3  # of a cell's outline to where there is no roof: it is beside the strip
SHADOW_BORDER = 0.3  # share of the strip's outline along each of the two faces
SHADOW_STEP_M = 0.5  # by which the one face is higher
INTEGRAL = 1e-4  # a relaxed variable this near 0 or 1 is taken to be there
NODE_LIMIT = 2000  # of branch and bound: a limit in seconds would make the roof depend on the machine

OUTSIDE = -1


def votes(cells: Cells, evidence: Evidence) -> tuple[Array, Array, Array]:
    """Plan area that each label's points cover in each cell.

    Returns
    -------
    planes : array, shape (c, k)
        [m²]
    hidden, ground : array, shape (c,)
        [m²] covered by points of no plane; by ground points.
    """
    n_cells, n_planes = len(cells.polygons), len(evidence.coefficients)
    planes, hidden, ground = np.zeros((n_cells, n_planes)), np.zeros(n_cells), np.zeros(n_cells)
    tree = shapely.STRtree(cells.polygons)
    point, cell = _first_cell(tree, evidence.xyz[:, :2])
    label = evidence.labels[point]
    roof = label >= 0
    np.add.at(planes, (cell[roof], label[roof]), evidence.weight[point[roof]])
    np.add.at(hidden, cell[~roof], evidence.weight[point[~roof]])
    if len(evidence.ground):
        _, cell = _first_cell(tree, evidence.ground)
        np.add.at(ground, cell, evidence.ground_weight)
    return planes, hidden, ground


def _first_cell(tree: shapely.STRtree, xy: Array) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    point, cell = tree.query(shapely.points(xy), predicate="intersects")
    point, first = np.unique(point, return_index=True)
    return point, cell[first]


def energies(
    cells: Cells, lines: list[PlanLine], planes: Array, hidden: Array, ground: Array
) -> tuple[Array, Array]:
    """What each label costs; label 0 is outside, k + 1 plane k.

    Returns
    -------
    data : array, shape (c, k + 1)
        In each cell [m²].
    price : array, shape (p, k + 1)
        Where it ends on each piece [m²].
    """
    others = planes.sum(axis=1, keepdims=True) - planes
    covered = np.minimum(hidden, cells.area)
    empty = (cells.area - covered)[:, None] - planes - others
    as_plane = HALF_COVER * empty + (1 - HALF_COVER) * others + GROUND_WEIGHT * ground[:, None]
    data = np.column_stack([(1 - HALF_COVER) * planes.sum(axis=1), as_plane])
    return data, _cut_prices(cells, lines, planes.shape[1])


def label_cells(
    cells: Cells, lines: list[PlanLine], planes: Array, hidden: Array, ground: Array
) -> npt.NDArray[np.int64]:
    """The labels with the least energy.

    Parameters
    ----------
    planes, hidden, ground
        As `votes` gives them.

    Returns
    -------
    array, shape (c,)
        Plane of each cell, -1 for outside.

    Notes
    -----
    Binary variables x[cell, label] with one label a cell, and y >= |x[c, l] - x[d, l]| for every piece
    between two cells: the linear relaxation of this multiway cut is nearly always integral; the cells
    where it is not are settled by branch and bound (HiGHS) with the others held.
    """
    n_cells, n_planes = planes.shape
    if n_cells == 0:
        return np.empty(0, dtype=np.int64)
    data, price = energies(cells, lines, planes, hidden, ground)

    inner = (cells.piece_cells >= 0).all(axis=1)
    left, right = cells.piece_cells[inner].T
    possible = _possible_labels(planes, cells.piece_cells[inner])

    variable = np.full(possible.shape, -1)
    variable[possible] = np.arange(possible.sum())
    n_x = int(possible.sum())
    cost = [data[possible]]
    rows: list[npt.NDArray[np.int64]] = []
    cols: list[npt.NDArray[np.int64]] = []
    vals: list[Array] = []
    n_rows = 0
    n_vars = n_x
    x_left, x_right = variable[left], variable[right]  # (p, labels), -1 where impossible
    for label in range(n_planes + 1):
        a, b = x_left[:, label], x_right[:, label]
        p = price[inner, label]
        both = (a >= 0) & (b >= 0)
        for sign in (1.0, -1.0):  # y - sign (x_a - x_b) >= 0
            n = int(both.sum())
            row = n_rows + np.arange(n)
            rows += [row, row, row]
            cols += [n_vars + np.arange(n), a[both], b[both]]
            vals += [np.ones(n), np.full(n, -sign), np.full(n, sign)]
            n_rows += n
        cost.append(p[both])
        n_vars += int(both.sum())
        for only in (np.where(b < 0, a, -1), np.where(a < 0, b, -1)):
            pick = only >= 0
            np.add.at(cost[0], only[pick], p[pick])
    # pieces on the rim: the other side is outside
    rim = ~inner
    cell = cells.piece_cells[rim].max(axis=1)
    for label in range(1, n_planes + 1):  # pays for its own end and for outside's
        pick = variable[cell, label] >= 0
        np.add.at(cost[0], variable[cell[pick], label], (price[rim, label] + price[rim, 0])[pick])

    c = np.concatenate(cost)
    one = sparse.csr_array((np.ones(n_x), (np.nonzero(possible)[0], np.arange(n_x))), shape=(n_cells, n_vars))
    constraints = [LinearConstraint(one, 1, 1)]
    if n_rows:
        cuts = sparse.csr_array(
            (np.concatenate(vals), (np.concatenate(rows), np.concatenate(cols))), shape=(n_rows, n_vars)
        )
        constraints.append(LinearConstraint(cuts, 0, np.inf))
    keep_row, keep_col, keep_val = [], [], []
    for k in range(n_planes):
        mine = np.flatnonzero(possible[:, k + 1] & (planes[:, k] > 0))
        keep_row += [k] * len(mine)
        keep_col += list(variable[mine, k + 1])
        keep_val += list(planes[mine, k])
    keep = sparse.csr_array((keep_val, (keep_row, keep_col)), shape=(n_planes, n_vars))
    constraints.append(LinearConstraint(keep, KEEP_SHARE * planes.sum(axis=0) - FIXED_MARGIN, np.inf))

    x = _solve(c, constraints, np.zeros(n_vars), np.ones(n_vars), integral=None)
    if x is not None:
        loose = (x[:n_x] > INTEGRAL) & (x[:n_x] < 1 - INTEGRAL)
        if loose.any():
            cell_of = np.nonzero(possible)[0]
            open_cells = np.isin(cell_of, cell_of[loose])
            low, high = np.zeros(n_vars), np.ones(n_vars)
            low[:n_x] = np.where(open_cells, 0.0, np.round(x[:n_x]))
            high[:n_x] = np.where(open_cells, 1.0, np.round(x[:n_x]))
            integral = np.zeros(n_vars)
            integral[:n_x] = open_cells
            x = _solve(c, constraints, low, high, integral=integral)
    if x is None:  # the rows that keep small faces contradict each other: every cell for itself
        return np.asarray(np.argmin(np.where(possible, data, np.inf), axis=1) - 1, dtype=np.int64)
    return np.asarray(
        np.argmax(np.where(possible, x[np.maximum(variable, 0)], -1.0), axis=1) - 1, dtype=np.int64
    )


def _solve(
    cost: Array, constraints: list[LinearConstraint], low: Array, high: Array, *, integral: Array | None
) -> Array | None:
    result = milp(
        cost,
        integrality=integral,
        bounds=Bounds(low, high),
        constraints=constraints,
        options={"node_limit": NODE_LIMIT},
    )
    return None if result.x is None else np.asarray(result.x, dtype=np.float64)


def _possible_labels(planes: Array, neighbours: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """A cell can be outside, or of a plane with points in it or in a cell beside it or beside that."""
    seen = planes > 0
    for _ in range(2):
        reach = seen.copy()
        np.logical_or.at(reach, neighbours[:, 0], seen[neighbours[:, 1]])
        np.logical_or.at(reach, neighbours[:, 1], seen[neighbours[:, 0]])
        seen = reach
    return np.column_stack([np.ones(len(planes), dtype=bool), seen])


def _cut_prices(cells: Cells, lines: list[PlanLine], n_planes: int) -> Array:
    """Price of each piece for each label that ends there (label 0 is outside), shape (p, k + 1) [m²]."""
    base = np.array([CUT_PRICE_M / 2 * (1 + 0.5 / max(line.support_m, 0.1)) for line in lines])
    factor = np.full((len(lines), n_planes + 1), NOT_MINE)
    for n, line in enumerate(lines):
        factor[n, 0] = 1.0 if line.crease is None else NO_OUTLINE
        for k in line.owners:
            factor[n, k + 1] = 1.0
    return np.asarray(cells.piece_length[:, None] * base[cells.piece_line, None] * factor[cells.piece_line])


def absorb_small(
    cells: Cells, labels: npt.NDArray[np.int64], planes: Array, least_m2: float
) -> npt.NDArray[np.int64]:
    """Give connected parts under `least_m2` to the neighbour with the longest border.

    A part that is all of its plane stays, whatever its size.
    """
    labels = labels.copy()
    n = len(labels)
    inner = (cells.piece_cells >= 0).all(axis=1)
    a, b = cells.piece_cells[inner].T
    for _ in range(4):
        same = labels[a] == labels[b]
        graph = sparse.coo_array((np.ones(same.sum()), (a[same], b[same])), shape=(n, n))
        count, part = connected_components(graph, directed=False)
        area = np.bincount(part, weights=cells.area, minlength=count)
        whole = np.bincount(labels + 1, weights=cells.area, minlength=planes.shape[1] + 1)
        changed = False
        for p in np.argsort(area):
            if area[p] >= least_m2:
                break
            members = part == p
            label = labels[np.flatnonzero(members)[0]]
            if label != OUTSIDE and area[p] > 0.6 * whole[label + 1]:
                continue
            border = borders(cells, labels, members)
            border.pop(int(label), None)
            if border:
                labels[members] = max(sorted(border), key=lambda key: border[key])
                changed = True
        if not changed:
            break
    return labels


def borders(cells: Cells, labels: npt.NDArray[np.int64], members: npt.NDArray[np.bool_]) -> dict[int, float]:
    """Length of border of some cells with each label beside them [m]."""
    border: dict[int, float] = {}
    for side in (0, 1):
        mine = cells.piece_cells[:, side]
        touching = (mine >= 0) & members[np.maximum(mine, 0)]
        for cell, length in zip(
            cells.piece_cells[touching, 1 - side], cells.piece_length[touching], strict=True
        ):
            if cell < 0 or not members[cell]:
                beside = OUTSIDE if cell < 0 else int(labels[cell])
                border[beside] = border.get(beside, 0.0) + float(length)
    return border


def connected(cells: Cells, members: npt.NDArray[np.bool_]) -> list[npt.NDArray[np.bool_]]:
    """The connected parts of some cells, each as a mask of shape (c,)."""
    inner = (cells.piece_cells >= 0).all(axis=1)
    a, b = cells.piece_cells[inner].T
    both = members[a] & members[b]
    graph = sparse.coo_array((np.ones(both.sum()), (a[both], b[both])), shape=(len(members),) * 2)
    _, part = connected_components(graph, directed=False)
    return [part == k for k in np.unique(part[members])]


def fill_shadows(
    cells: Cells,
    labels: npt.NDArray[np.int64],
    coefficients: Array,
    ground: Array,
) -> npt.NDArray[np.int64]:
    """Let a lower face run on through a narrow strip beside a higher one in which little was seen.

    A scanner looks past the higher roof's edge and leaves a shadow on the lower one; ground was not seen
    there either.

    Parameters
    ----------
    coefficients : array, shape (k, 3)
        Of z = a x + b y + c.
    ground : array, shape (c,)
        Plan area covered by points of the ground [m²].
    """
    labels = labels.copy()
    around = shapely.length(cells.polygons)
    width = 2 * cells.area / np.maximum(around, 1e-9)
    dark = (labels == OUTSIDE) & (ground == 0) & (width < SHADOW_WIDTH_M)
    opened = True
    while opened:  # what is beside an open cell may be open then, too
        bright = np.append((labels == OUTSIDE) & ~dark, True)  # the last is what no cell is
        into_bright = np.zeros(len(labels) + 1)
        for mine, other in (cells.piece_cells.T, cells.piece_cells.T[::-1]):
            np.add.at(into_bright, mine, cells.piece_length * bright[other])
        closed = dark & (into_bright[:-1] < SHADOW_OPEN * around)
        opened = bool((closed != dark).any())
        dark = closed
    for strip in connected(cells, dark):
        border = borders(cells, labels, strip)
        perimeter = sum(border.values())
        border.pop(OUTSIDE, None)
        beside = sorted(border, key=lambda k: -border[k])[:2]
        area = float(cells.area[strip].sum())
        if (
            len(beside) < 2
            or border[beside[1]] < SHADOW_BORDER * perimeter
            or 2 * area > SHADOW_WIDTH_M * perimeter
        ):
            continue
        centre = shapely.get_coordinates(shapely.centroid(cells.polygons[strip]))
        x, y = cells.area[strip] @ centre / area
        low, high = sorted((float(coefficients[k] @ [x, y, 1.0]), k) for k in beside)
        if high[0] - low[0] > SHADOW_STEP_M:
            labels[strip] = low[1]
    return labels
