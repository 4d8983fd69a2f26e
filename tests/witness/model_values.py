"""What general-purpose libraries from PyPI say about deposit and heat, where the answer is known in
closed form or as a handbook's series: scipy 1.17.1, ht 1.2.0, fluids 1.3.1.

Prints one value a line, `name = value`, SI units and degrees Celsius. The output is kept as
tests/reference/model-values.txt, and src/core/tests/model_by_other_libraries.rs holds the model to
it.
"""

import fluids
import ht
import numpy
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq
from scipy.special import erf, j0, j1, jn_zeros
from scipy.stats import norm

ICE = 273.15
# Steel: conductivity, density, specific heat.
K, RHO, C = 45.0, 7850.0, 490.0


def say(name, value):
    print(f"{name} = {value:.9g}")


# Radiation and convection of a surface to the room.
for celsius in (100, 400, 850, 1100):
    flux = ht.q_rad(0.8, celsius + ICE, 20 + ICE) + 15.0 * (celsius - 20)
    say(f"flux at {celsius}", flux)

# A bar of one temperature cools: exp(-Bi Fo), the length being volume over surface.
RADIUS, FILM = 0.0125, 15.0
for seconds in (60, 300, 900):
    biot = fluids.Biot(FILM, RADIUS / 2, K)
    fourier = fluids.Fourier_heat(seconds, RADIUS / 2, RHO, C, K)
    say(f"lump after {seconds}", 20 + 280 * numpy.exp(-biot * fourier))

# The same as a cylinder with a gradient across it: mean over the section by the series whose
# eigenvalues are the roots of b J1(b) = Bi J0(b), one between neighbouring zeros of J1.
for film in (15.0, 400.0):
    biot = film * RADIUS / K
    ends = numpy.append(0, jn_zeros(1, 30))
    roots = [
        brentq(lambda b: b * j1(b) - biot * j0(b), low + 1e-9, high - 1e-9)
        for low, high in zip(ends, ends[1:])
    ]
    diffusivity = K / (RHO * C)
    for seconds in (60, 300):
        mean = sum(
            4 * biot**2 / (b**2 * (b**2 + biot**2)) * numpy.exp(-(b**2) * diffusivity * seconds / RADIUS**2)
            for b in roots
        )
        say(f"cylinder with {film:g} after {seconds}", 20 + 280 * mean)

# A flame that stands over a rod with insulated ends and loss to the air: cosine series along the
# rod, its coefficients by quadrature.
LENGTH, ROD, POWER, SIGMA, AT = 0.2, 0.01, 300.0, 0.012, 0.05
SECTION = numpy.pi * ROD**2
share = lambda z: norm.pdf(z, AT, SIGMA)
decay = FILM * 2 / (ROD * RHO * C)
for seconds in (5, 40, 200):
    for z in (0.0, 0.05, 0.1, 0.2):
        rise = 0.0
        for n in range(60):
            wave = n * numpy.pi / LENGTH
            given = quad(lambda x: share(x) * numpy.cos(wave * x), 0, LENGTH, limit=200, points=[AT])[0]
            given *= (1 if n == 0 else 2) / LENGTH * POWER * erf(ROD / (numpy.sqrt(2) * 0.002))
            rate = K / (RHO * C) * wave**2 + decay
            rise += given / (SECTION * RHO * C) * -numpy.expm1(-rate * seconds) / rate * numpy.cos(wave * z)
        say(f"rod at {z:g} after {seconds}", 20 + rise)

# Ripple of a helix on a wide part: Gaussians one pitch apart, summed over one pitch; half of peak
# to valley over the mean, by the first harmonic of the sum.
for pitch in (1.5, 2.0, 2.5):
    z = numpy.arange(256) / 256 * pitch
    coat = sum(norm.pdf(z - turn * pitch) for turn in range(-40, 41))
    harmonics = numpy.abs(numpy.fft.rfft(coat))
    say(f"ripple at {pitch:g}", 2 * harmonics[1] / harmonics[0])

# What a long cylinder catches of a spreading plume: erf(c / sqrt 2), c = R / sqrt(a^2 - R^2 tan^2),
# a the standard deviation across at the axis' distance.
for radius in (0.005, 0.01, 0.04):
    growth = numpy.tan(numpy.radians(3))
    wide = 0.008 + growth * radius
    say(f"capture of {radius:g}", erf(radius / numpy.sqrt(wide**2 - (radius * growth) ** 2) / numpy.sqrt(2)))

# Powder switched at one place of a long cylinder: thickness beside it over that far inside.
for offset in (-0.01, -0.002, 0.0, 0.006, 0.014):
    say(f"edge at {offset:g}", norm.cdf(offset / 0.008))

# Powder at the nozzle: switched on at 1 s, off at 4 s, half a second in the hose, and a first-order
# rise and fall; mass from an initial value problem.
RATE, DELAY, RISE, FALL = 0.8e-3, 0.5, 0.2, 0.35


def flow(time, state):
    on = 1 + DELAY <= time < 4 + DELAY
    return [((RATE if on else 0) - state[0]) / (RISE if on else FALL), state[0]]


state, begun = [0.0, 0.0], 1 + DELAY
for time in (1.6, 2.5, 4.5, 4.9, 8.0):
    leg = solve_ivp(flow, (begun, time - 1e-12), state, rtol=1e-11, atol=1e-16, max_step=0.01)
    state, begun = leg.y[:, -1], time
    say(f"fed after {time:g}", state[1])
