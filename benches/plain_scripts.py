"""Two straightforward scripts that measure a raw file with rawpy, numpy, scipy, OpenCV and scikit-image.

`short` takes the cheapest reading of each thing: green alone, edge widths by contrast over slope. `whole` measures what the
program measures: all four filter positions, robust noise fits, edges of blurs up to 40 px fitted on the samples of the mosaic
and on its halved pictures, their map, and the nulls that a motion leaves in the spectrum. Neither holds known weaknesses back
by design: whole arrays wherever numpy has them, loops only over colours, tiles, sizes of the picture and edges.
"""

import warnings

import cv2
import numpy as np
import rawpy
from scipy.optimize import OptimizeWarning, curve_fit, least_squares
from scipy.special import ndtr
from skimage import filters, measure

# Edges that `whole` tries at most in each of 8 x 6 tiles and 12 directions, on each size of the picture; with as many good
# ones a direction has its reading and need not be tried on a smaller picture. All as the program has them.
EDGES_PER_CELL, ENOUGH_PER_CELL = 6, 3
TILES_X, TILES_Y, DIRECTIONS = 8, 6, 12
# Sizes of the picture: the mosaic, one green plane, and that halved three times. A fit reaches six pixels of its own size.
SIZES = 5

# A fit whose covariance stays open is judged by what it leaves.
warnings.filterwarnings("ignore", category=OptimizeWarning)


def read(path):
    with rawpy.imread(path) as raw:
        return raw.raw_image_visible.copy(), raw.raw_colors_visible.copy(), raw.white_level, list(raw.black_level_per_channel)


def levels(image, colours, white, black):
    """Clipped share, median and 99.9 percentile per position; connected areas of clipped cells."""
    found = {}
    for colour in range(4):
        values = image[colours == colour]
        if values.size:
            top = np.percentile(values, 99.9) - black[colour]
            found[colour] = (np.mean(values >= white), np.median(values) - black[colour], top)
    clipped = image >= white
    cells = clipped[: clipped.shape[0] // 2 * 2, : clipped.shape[1] // 2 * 2]
    cells = cells[::2, ::2] | cells[1::2, ::2] | cells[::2, 1::2] | cells[1::2, 1::2]
    return found, len(measure.regionprops(measure.label(cells)))


def blocks_of(plane):
    h, w = plane.shape[0] // 8 * 8, plane.shape[1] // 8 * 8
    return plane[:h, :w].reshape(h // 8, 8, w // 8, 8).swapaxes(1, 2).reshape(-1, 64)


def flat_blocks(plane):
    """Means and variances of the 30 % quietest blocks of 8 x 8."""
    blocks = blocks_of(plane)
    means, variances = blocks.mean(1), blocks.var(1, ddof=1)
    flat = variances <= np.percentile(variances, 30)
    return means[flat], variances[flat]


def sigma_of(plane):
    """One noise figure for a plane: Immerkaer 1996."""
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float64)
    return np.sqrt(np.pi / 2) / 6 * np.mean(np.abs(cv2.filter2D(plane, cv2.CV_64F, mask)))


def banding(plane):
    """Rows and columns against their smooth course."""
    rows, columns = plane.mean(1), plane.mean(0)
    return (rows - filters.gaussian(rows, 8)).std(), (columns - filters.gaussian(columns, 8)).std()


def hot_pixels(plane32, sigma):
    """Far above the median of the neighbours."""
    return int(np.sum(plane32 - cv2.medianBlur(plane32, 5) > 8 * sigma))


def strong_edges(plane32, sigma):
    """Gradient and its maxima."""
    dx, dy = cv2.Sobel(plane32, cv2.CV_32F, 1, 0) / 8, cv2.Sobel(plane32, cv2.CV_32F, 0, 1) / 8
    slope = cv2.magnitude(dx, dy)
    strong = (slope > 6 * sigma) & (slope >= cv2.dilate(slope, np.ones((3, 3), np.uint8)))
    return dx, dy, slope, strong


def by_direction(values, directions):
    return [np.percentile(values[directions == k], 25) for k in range(12) if np.any(directions == k)]


def short(path):
    image, colours, white, black = read(path)
    image = image.astype(np.float64)
    found = levels(image, colours, white, black)
    green = image[::2, 1::2] if colours[0, 1] in (1, 3) else image[::2, ::2]
    means, variances = flat_blocks(green)
    fit = np.polyfit(means, variances, 1)
    sigma, g32 = sigma_of(green), green.astype(np.float32)
    hot = hot_pixels(g32, sigma)
    dx, dy, slope, strong = strong_edges(g32, sigma)
    kernel = np.ones((9, 9), np.uint8)
    contrast = cv2.dilate(g32, kernel) - cv2.erode(g32, kernel)
    width = contrast[strong] / np.maximum(slope[strong], 1e-6)
    directions = (np.degrees(np.arctan2(dy[strong], dx[strong])) % 180 // 15).astype(int)
    return found, fit, banding(green), hot, by_direction(width, directions)


def robust_noise(plane):
    """Line of variance against mean through the quiet blocks, outliers counting less."""
    means, variances = flat_blocks(plane)
    start = np.polyfit(means, variances, 1)
    scale = max(float(np.median(np.abs(variances - np.polyval(start, means)))), 1e-9)
    return least_squares(lambda p: (np.polyval(p, means) - variances) / scale, start, loss="soft_l1", x_scale="jac").x


def chosen_edges(dx, dy, slope, strong, found):
    """The strongest edges of each cell (tile and direction) that still lacks some: row, column, unit normal, cell."""
    rows, columns = np.nonzero(strong)
    strength = slope[rows, columns]
    nx, ny = dx[rows, columns] / strength, dy[rows, columns] / strength
    direction = (np.degrees(np.arctan2(ny, nx)) % 180 * DIRECTIONS / 180).astype(int) % DIRECTIONS
    height, width = slope.shape
    cell = ((rows * TILES_Y // height) * TILES_X + columns * TILES_X // width) * DIRECTIONS + direction
    order = np.lexsort((-strength, cell))
    ordered = cell[order]
    rank = np.arange(cell.size) - np.searchsorted(ordered, ordered)
    kept = order[(rank < EDGES_PER_CELL) & (found[ordered] < ENOUGH_PER_CELL)]
    return zip(rows[kept], columns[kept], nx[kept], ny[kept], cell[kept])


def edge_spread(t, low, step, place, sigma):
    return low + step * ndtr((t - place) / sigma)


def fit_edge(image, is_green, y, x, nx, ny):
    """Width (standard deviation, px) of the edge at a place of a picture, from its green samples; None where none fits."""
    reach = 6
    if y < reach or x < reach or y + reach >= image.shape[0] or x + reach >= image.shape[1]:
        return None
    window = np.s_[y - reach : y + reach + 1, x - reach : x + reach + 1]
    dy, dx = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    across, along = dx * nx + dy * ny, dy * nx - dx * ny
    near = is_green[window] & (np.abs(across) <= reach) & (np.abs(along) <= reach)
    t, values = across[near], image[window][near].astype(np.float64)
    dark, bright = values[t < -3].mean(), values[t > 3].mean()
    try:
        (low, step, place, sigma), _ = curve_fit(edge_spread, t, values, (dark, bright - dark, 0.0, 0.8), maxfev=200)
    except (RuntimeError, ValueError):
        return None
    off = np.sqrt(np.mean((values - edge_spread(t, low, step, place, sigma)) ** 2))
    good = step > 0 and 0.1 < sigma < 2.7 and abs(place) < 3 and off < 0.06 * step
    return sigma if good else None


def fitted_edges(image, colours, green, sigma):
    """Width (standard deviation, px of the sensor) and cell of every good edge, finest picture first."""
    is_green = (colours == 1) | (colours == 3)
    top, left = (0, 1) if is_green[0, 1] else (0, 0)
    found, widths, cells = np.zeros(TILES_X * TILES_Y * DIRECTIONS, int), [], []
    picture = green.astype(np.float32)
    for size in range(SIZES):
        if size > 1:
            picture = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
            sigma /= 2
        everywhere = np.ones(picture.shape, bool)
        # The mosaic is fitted where the green plane shows an edge.
        for r, c, nx, ny, cell in chosen_edges(*strong_edges(picture, sigma), found.copy()):
            if size == 0:
                width = fit_edge(image, is_green, 2 * r + top, 2 * c + left, nx, ny)
            else:
                width = fit_edge(picture, everywhere, r, c, nx, ny)
            if width is not None:
                found[cell] += 1
                widths.append(2**size * width)
                cells.append(cell)
    return np.array(widths), np.array(cells, int)


def sharpness(image, colours, green, sigma):
    """10-90 % rise and MTF50 of the sharpest quarter of the edges, the rise by direction and by tile, and how many edges."""
    widths, cells = fitted_edges(image, colours, green, sigma)
    if widths.size == 0:
        return None
    sharp = np.percentile(widths, 25)
    # Of a Gaussian: 10-90 % rise 2.563 sigma, MTF50 sqrt(ln 2 / 2) / (pi sigma).
    rises = 2.563 * widths
    tiles = cells // DIRECTIONS
    by_tile = [np.percentile(rises[tiles == k], 25) for k in np.unique(tiles)]
    return 2.563 * sharp, np.sqrt(np.log(2) / 2) / (np.pi * sharp), by_direction(rises, cells % DIRECTIONS), by_tile, widths.size


def motion_nulls(green):
    """Deepest place of the cepstrum of the mean log spectrum of tiles: length and direction of a motion, if there is one."""
    side = 256
    window = np.outer(np.hanning(side), np.hanning(side)).astype(np.float32)
    h, w = green.shape[0] // side * side, green.shape[1] // side * side
    if h == 0 or w == 0:
        return None
    tiles = green[:h, :w].astype(np.float32).reshape(h // side, side, w // side, side).swapaxes(1, 2).reshape(-1, side, side)
    tiles = (tiles - tiles.mean((1, 2), keepdims=True)) * window
    power = np.mean([np.log(np.abs(np.fft.rfft2(tile)) ** 2 + 1e-6) for tile in tiles], axis=0)
    cepstrum = np.fft.irfft2(power)
    y, x = np.mgrid[:side, :side]
    y, x = (y + side // 2) % side - side // 2, (x + side // 2) % side - side // 2
    radius = np.hypot(x, y)
    cepstrum[(radius < 3) | (radius > 40)] = 0
    deepest = np.unravel_index(np.argmin(cepstrum), cepstrum.shape)
    return 2 * radius[deepest], np.degrees(np.arctan2(-y[deepest], x[deepest])) % 180, cepstrum[deepest]


def whole(path):
    image, colours, white, black = read(path)
    found = levels(image, colours, white, black)
    positions = [image[r::2, c::2].astype(np.float64) for r in (0, 1) for c in (0, 1)]
    noise, stripes, hot, sigmas = [], [], 0, []
    for plane in positions:
        sigmas.append(sigma_of(plane))
        noise.append(robust_noise(plane))
        stripes.append(banding(plane))
        hot += hot_pixels(plane.astype(np.float32), sigmas[-1])
    green = 1 if colours[0, 1] in (1, 3) else 0
    sharp = sharpness(image, colours, positions[green], sigmas[green])
    return found, noise, stripes, hot, sharp, motion_nulls(positions[green])
