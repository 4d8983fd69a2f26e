"""The even feed's problem solved by another program: a linear program by HiGHS through scipy, on a
kernel worked out here with numpy from the model's equations alone.

Usage: even_feed_scipy.py PARTS.json            prints the optimum of every part
       even_feed_scipy.py PARTS.json PROGRAM    runs PROGRAM PARTS.json beside it and compares

A part is coated over its zone with one feed for all passes, the powder on as far as the overruns.
Unknown is the weight W(zeta) = passes / feed, linear between nodes; thickness is linear in it. Least is to be the worst |h / wanted - 1| of the stations.

The first form's output is kept as tests/reference/even-feed-optimum.txt: worst error of the best
constant feed without limits, of the best feed within its limits, and the part's name. The second
form prints the median processor time of both programs for the kernel and for the solution with its
smoothing, and fails where the two disagree about the optimum.
"""

import json
import statistics
import subprocess
import sys
import time

import numpy
from scipy.optimize import linprog
from scipy.sparse import csr_matrix, diags, hstack, identity, vstack

# Nodes per standard deviation: of the optimum that is kept, and of the program beside it.
FINE, BESIDE = 3, 2
# Strips of the half ring that sees the torch, and samples of the torch's way in one stretch.
STRIPS = 96
SAMPLES = 8
REACH = 7.0
# Just before a step the radius is that of the lower side, m.
BEFORE = 1e-6
# Both smooth their solution, which may cost this share of its error and this much more, and a
# little for its coarser kernel.
SMOOTHED = 1.02, 3e-4
KERNEL = 2e-4
REPEATS = 9


def surface(part, z):
    """Radius and slope at z; at a step those of the higher side."""
    points = part["part"]["profile_z_R_m"]
    pieces = [(a, b) for a, b in zip(points, points[1:]) if b[0] > a[0]]
    (za, ra), (zb, rb) = next((p for p in reversed(pieces) if p[0][0] <= z), pieces[0])
    slope = (rb - ra) / (zb - za)
    return ra + slope * (z - za), slope


def stations(part):
    """Places where thickness is judged: equally spaced, both ends, and none near a step."""
    points = part["part"]["profile_z_R_m"]
    steps = [a[0] for a, b in zip(points, points[1:]) if a[0] == b[0]]
    low, high = part["coated_zone_m"]
    count = int(numpy.ceil((high - low) / part["station_spacing_m"] - 1e-9))
    places = [low + (high - low) * i / count for i in range(count + 1)]
    margin = part["step_margin_m"]
    if margin > 0:
        places += [z for step in steps for z in (step - margin, step + margin)]
    else:
        places += [z for step in steps for z in (step - BEFORE, step)]
    places = sorted(z for z in places if all(abs(z - s) >= margin - 1e-9 for s in steps))
    return [z for z, before in zip(places, [-1e9] + places) if z - before > 1e-9]


def kept(torch, radius, slope, offsets):
    """kg that stay per metre of part and kg sprayed, by the torch's offset."""
    growth = numpy.tan(numpy.radians(torch["sigma_growth_half_angle_deg"]))
    phi = (numpy.arange(STRIPS) + 0.5) / STRIPS * numpy.pi - numpy.pi / 2
    phi = phi[:, None]
    distance = torch["standoff_reference_radius_m"] + torch["standoff_m"] - radius * numpy.cos(phi)
    more = growth * (distance - torch["standoff_m"])
    along = numpy.maximum(torch["sigma_axial_m"] + more, 0.2 * torch["sigma_axial_m"])
    across = numpy.maximum(torch["sigma_lateral_m"] + more, 0.2 * torch["sigma_lateral_m"])
    y = radius * numpy.sin(phi)
    px, py = growth * offsets / along, growth * y / across
    flux = numpy.exp(-0.5 * (offsets / along) ** 2 - 0.5 * (y / across) ** 2)
    flux /= 2 * numpy.pi * along * across
    facing = numpy.maximum(numpy.cos(phi) - py * numpy.sin(phi) + px * slope, 0)
    cosine = facing / (numpy.sqrt(1 + slope**2) * numpy.sqrt(1 + px**2 + py**2))
    stays = torch["base_deposition_efficiency"] * cosine ** torch["angle_exponent"]
    return radius * numpy.pi / STRIPS * (flux * facing * stays).sum(axis=0)


def matrix(part, per_sigma):
    """Nodes, and share of the wanted thickness per weight of each node at each station."""
    torch = part["torch"]
    low = part["coated_zone_m"][0] - part["overrun_m"][0]
    high = part["coated_zone_m"][1] + part["overrun_m"][1]
    cells = int(numpy.ceil((high - low) / torch["sigma_axial_m"] * per_sigma - 1e-9))
    nodes = numpy.linspace(low, high, cells + 1)
    width = nodes[1] - nodes[0]
    share = (numpy.arange(SAMPLES) + 0.5) / SAMPLES
    torch_at = (nodes[:-1, None] + share * width).ravel()
    growth = numpy.tan(numpy.radians(torch["sigma_growth_half_angle_deg"]))
    widest = torch["sigma_axial_m"] + growth * torch["standoff_reference_radius_m"]
    places = stations(part)
    rows = numpy.zeros((len(places), cells + 1))
    # Straight stretches: one kernel by offset serves every station on them.
    known = None
    for row, z in zip(rows, places):
        radius, slope = surface(part, z)
        if known is None or abs(radius - known[0]) > 1e-9 or abs(slope - known[1]) > 1e-9:
            offsets = numpy.arange(-REACH * widest, REACH * widest, torch["sigma_axial_m"] / 32)
            known = radius, slope, offsets, kept(torch, radius, slope, offsets)
        gives = numpy.interp(z - torch_at, known[2], known[3], 0, 0).reshape(cells, SAMPLES)
        gives *= width / SAMPLES
        row[:-1] += (gives * (1 - share)).sum(axis=1)
        row[1:] += (gives * share).sum(axis=1)
        around = 2 * numpy.pi * radius * numpy.hypot(1, slope)
        row *= part["powder_rate_kg_s"] / around
        row /= torch["as_sprayed_density_kg_m3"] * part["target_thickness_m"]
    rows[rows < 1e-9 * rows.max()] = 0
    return nodes, rows


def limits(part, rows):
    """The error's two inequalities per station, their right sides, and the weight's bounds."""
    unit = 1 / rows.sum(axis=1).mean()
    felt = csr_matrix(rows * unit)
    one = csr_matrix(numpy.ones((rows.shape[0], 1)))
    ones = numpy.ones(rows.shape[0])
    slowest = part["passes"] / part["feed_min_m_s"] / unit
    fastest = part["passes"] / part["feed_max_m_s"] / unit
    both = vstack([hstack([felt, -one]), hstack([-felt, -one])])
    return both, numpy.append(ones, -ones), [(fastest, slowest)] * rows.shape[1]


def solved(part, price, both, right, bounds):
    found = linprog(price, A_ub=both.tocsr(), b_ub=right, bounds=bounds, method="highs")
    if found.status != 0:
        sys.exit(f"{part['name']}: {found.message}")
    return found


def optimum(part, rows):
    """Least worst error, by a linear program."""
    both, right, bounds = limits(part, rows)
    price = numpy.append(numpy.zeros(rows.shape[1]), 1)
    return solved(part, price, both, right, bounds + [(0, None)]).fun


def smoothest(part, rows):
    """Least worst error, and then the feed of least summed |second difference| near it."""
    least = optimum(part, rows)
    both, right, bounds = limits(part, rows)
    count = rows.shape[1]
    bends = diags([1.0, -2.0, 1.0], [0, 1, 2], shape=(count - 2, count))
    none, each = csr_matrix((count - 2, 1)), identity(count - 2)
    wide = csr_matrix((both.shape[0], count - 2))
    all_of_it = vstack(
        [hstack([both, wide]), hstack([bends, none, -each]), hstack([-bends, none, -each])]
    )
    right = numpy.append(right, numpy.zeros(2 * (count - 2)))
    price = numpy.append(numpy.zeros(count + 1), numpy.ones(count - 2))
    bounds += [(0, SMOOTHED[0] * least + SMOOTHED[1])] + [(0, None)] * (count - 2)
    solved(part, price, all_of_it, right, bounds)
    return least


def constant(rows):
    """Worst error of the best constant feed, without limits."""
    sums = rows.sum(axis=1)
    return (sums.max() - sums.min()) / (sums.max() + sums.min())


def median(work):
    """Median processor time, ms, and what was worked out."""
    taken = []
    for _ in range(REPEATS):
        since = time.process_time()
        found = work()
        taken.append(1e3 * (time.process_time() - since))
    return statistics.median(taken), found


def beside(parts, program):
    said = subprocess.run([program, sys.argv[1]], check=True, capture_output=True, text=True)
    answers = json.loads(said.stdout)
    print("median of", REPEATS, "in ms of processor: scipy kernel + solution, this program kernel + solution")
    wrong = 0
    for part, answer in zip(parts, answers, strict=True):
        kernel, (_, rows) = median(lambda: matrix(part, BESIDE))
        taken, least = median(lambda: smoothest(part, rows))
        ours = answer["kernel_ms"] + answer["solve_ms"]
        print(
            f"{part['name']:48} {kernel:6.1f} + {taken:6.1f}  {answer['kernel_ms']:5.2f} +"
            f" {answer['solve_ms']:5.2f}  {(kernel + taken) / ours:5.1f} times as fast;"
            f" {100 * answer['worst']:7.3f} % of {100 * least:7.3f} %"
        )
        most = SMOOTHED[0] * least + SMOOTHED[1] + KERNEL
        agrees = least - KERNEL <= answer["worst"] <= most
        if answer["name"] != part["name"] or not agrees:
            wrong += 1
            print("  these two do not agree")
    sys.exit(wrong)


def main():
    with open(sys.argv[1]) as file:
        parts = json.load(file)
    if len(sys.argv) > 2:
        beside(parts, sys.argv[2])
    for part in parts:
        _, rows = matrix(part, FINE)
        print(f"{constant(rows):.5f} {optimum(part, rows):.5f} {part['name']}")


if __name__ == "__main__":
    main()
