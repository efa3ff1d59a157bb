//! A harbour at dawn, wholly invented: sky, far hills, a quay with sheds and a crane, moored boats with masts and
//! ropes, nets, crates and floats in the foreground. The same frame in every view: positions are shares of the width
//! and height, sizes follow the height.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::{Layer, tone};
use crate::geometry::Shape;
use crate::paint::{Paint, Radiance};

fn flat(ev: f64, tint: Radiance) -> Paint {
    Paint::Flat(tone(ev, tint))
}

/// Builds the view.
pub(super) fn harbour(rng: &mut ChaCha8Rng, w: f64, h: f64) -> Vec<Layer> {
    let line = 0.46 * h;
    let quay = 0.60 * h;
    let mut far = Vec::new();
    sky_and_hills(rng, &mut far, w, h, line);
    let mut shapes = far;
    water(rng, &mut shapes, w, h, line, quay);
    sheds(rng, &mut shapes, w, h, quay);
    crane(&mut shapes, 0.72 * w, quay, 0.40 * h);
    let mut x = 0.06 * w;
    while x < 0.97 * w {
        let size = rng.random_range(0.13..0.24) * h;
        let waterline = quay + rng.random_range(0.05..0.12) * h;
        boat(rng, &mut shapes, x, waterline, size);
        x += size * rng.random_range(0.9..1.6);
    }
    foreground(rng, &mut shapes, w, h);
    vec![Layer::sharp(shapes)]
}

fn sky_and_hills(rng: &mut ChaCha8Rng, shapes: &mut Vec<Shape>, w: f64, h: f64, line: f64) {
    let sky = Paint::Sky {
        top: tone(2.1, [0.55, 0.75, 1.15]),
        bottom: tone(-0.3, [1.15, 0.9, 0.62]),
        y0: 0.0,
        y1: line as f32,
        along_x: false,
    };
    shapes.push(Shape::everywhere(sky));
    // The sun just above the hills, with its glow in rings.
    let (sx, sy) = (0.24 * w, line - 0.055 * h);
    for (r, ev) in [(0.075, -0.45), (0.05, -0.75), (0.034, -1.2), (0.022, -3.6)] {
        shapes.push(Shape::circle(sx, sy, r * h, flat(ev, [1.1, 0.92, 0.66])));
    }
    // Bars of cloud.
    for _ in 0..16 {
        let (x, y) = (rng.random_range(0.0..w), rng.random_range(0.03..0.36) * h);
        let (rx, ry) = (rng.random_range(0.05..0.22) * h, rng.random_range(0.004..0.014) * h);
        let lit = 1.7 - 1.9 * y / line;
        shapes.push(Shape::ellipse(x, y, rx, ry, rng.random_range(-3.0..3.0), flat(lit, [1.1, 0.85, 0.8])));
    }
    // Three ranges of hills, the nearer the darker.
    for (range, (ev, height)) in [(1.3, 0.10), (2.2, 0.075), (3.3, 0.045)].into_iter().enumerate() {
        let step = 0.02 * h;
        let phase: f64 = rng.random_range(0.0..6.0);
        let profile = |x: f64| {
            let t = x / h;
            line - height * h * (0.55 + 0.3 * (2.1 * t + phase).sin() + 0.15 * (5.3 * t + 2.0 * phase).sin())
        };
        let paint = flat(ev, [0.8 + 0.1 * (2 - range.min(2)) as f32, 0.82, 1.0]);
        let mut x = -step;
        while x < w + step {
            let (left, right) = (profile(x), profile(x + step));
            let base = line + 2.0;
            let corners = [[x - 0.3, left], [x + step + 0.3, right], [x + step + 0.3, base], [x - 0.3, base]];
            shapes.push(Shape::polygon(&corners, paint.clone()));
            x += step;
        }
    }
}

fn water(rng: &mut ChaCha8Rng, shapes: &mut Vec<Shape>, w: f64, h: f64, line: f64, quay: f64) {
    let base = Paint::Sky {
        top: tone(0.9, [1.05, 0.85, 0.7]),
        bottom: tone(3.4, [0.6, 0.8, 1.0]),
        y0: line as f32,
        y1: h as f32,
        along_x: false,
    };
    let below = |y: f64| [[-9.0, y], [w + 9.0, y], [w + 9.0, h + 9.0], [-9.0, h + 9.0]];
    shapes.push(Shape::polygon(&below(line), base));
    // Ripples: short dark and light bars, longer and wider towards the viewer; the sun's path is brighter.
    let count = (0.0022 * w * h).min(22_000.0) as usize;
    for _ in 0..count {
        let depth: f64 = rng.random_range(0.0f64..1.0).powf(1.6);
        let y = line + depth * (h - line);
        let x = rng.random_range(0.0..w);
        let size = (0.004 + 0.03 * depth) * h;
        let path = (1.0 - ((x - 0.24 * w) / (0.05 * w + 0.10 * w * depth)).abs()).max(0.0);
        let ev = 0.9 + 2.5 * depth + rng.random_range(-0.7..0.6) - 2.2 * path * rng.random_range(0.2..1.0);
        let warm = path as f32;
        let tint = [0.65 + 0.5 * warm, 0.8 + 0.1 * warm, 1.0 - 0.3 * warm];
        shapes.push(Shape::ellipse(x, y, size, 0.09 * size + 0.6, rng.random_range(-2.0..2.0), flat(ev, tint)));
    }
    // The far mole with its light.
    shapes.push(Shape::rectangle(0.52 * w, line + 0.008 * h, 0.30 * w, 0.016 * h, 0.0, flat(3.6, [0.9, 0.9, 1.0])));
    shapes.push(Shape::rectangle(0.40 * w, line - 0.03 * h, 0.011 * h, 0.075 * h, 0.0, flat(1.6, [1.0, 0.5, 0.45])));
    shapes.push(Shape::circle(0.40 * w, line - 0.07 * h, 0.0035 * h, flat(-3.0, [1.0, 0.95, 0.75])));
    let stone = Paint::Texture {
        radiance: tone(3.1, [1.0, 0.93, 0.85]),
        amplitude: 0.35,
        size_px: (0.012 * h) as f32,
        stretch: 2.0,
        seed: rng.random(),
    };
    shapes.push(Shape::polygon(
        &[
            [0.42 * w, quay - 0.02 * h],
            [w + 9.0, quay - 0.035 * h],
            [w + 9.0, quay + 0.05 * h],
            [0.40 * w, quay + 0.035 * h],
        ],
        stone,
    ));
}

fn sheds(rng: &mut ChaCha8Rng, shapes: &mut Vec<Shape>, w: f64, h: f64, quay: f64) {
    let tints: [Radiance; 5] =
        [[1.0, 0.42, 0.32], [0.95, 0.85, 0.6], [0.45, 0.62, 0.8], [0.9, 0.9, 0.88], [0.5, 0.7, 0.5]];
    let mut x = 0.46 * w;
    while x < 0.98 * w {
        let (bw, bh) = (rng.random_range(0.09..0.17) * h, rng.random_range(0.10..0.19) * h);
        let (left, right, foot) = (x, x + bw, quay - 0.02 * h);
        let (eaves, ridge) = (foot - bh, foot - bh - 0.35 * bw);
        let tint = tints[rng.random_range(0..tints.len())];
        let ev = rng.random_range(1.3..2.8);
        let wall = [[left, eaves], [right, eaves], [right, foot], [left, foot]];
        shapes.push(Shape::polygon(&wall, flat(ev, tint)));
        let gable = [[left, eaves], [(left + right) / 2.0, ridge], [right, eaves]];
        shapes.push(Shape::polygon(&gable, flat(ev + 0.1, tint)));
        for (from, ev) in [([left - 0.01 * h, eaves + 0.004 * h], 2.4), ([right + 0.01 * h, eaves + 0.004 * h], 4.2)] {
            shapes.push(Shape::bar(from, [(left + right) / 2.0, ridge], 0.008 * h, flat(ev, [1.0, 0.9, 0.85])));
        }
        // Boards, a door, windows (some lit).
        let boards = (bw / (0.012 * h)) as i32;
        for i in 1..boards {
            let bx = left + f64::from(i) * bw / f64::from(boards);
            let crack = flat(ev + 0.9, tint);
            shapes.push(Shape::rectangle(bx, (eaves + foot) / 2.0, 0.0011 * h, bh, 0.0, crack));
        }
        let dx = left + bw * rng.random_range(0.2..0.7);
        shapes.push(Shape::rectangle(dx, foot - 0.035 * h, 0.028 * h, 0.07 * h, 0.0, flat(ev + 2.4, [0.9, 0.9, 1.0])));
        for i in 0..3 {
            let wx = left + bw * (0.2 + 0.3 * f64::from(i));
            let lit = rng.random_bool(0.3);
            let (ev, tint) = if lit { (0.1, [1.2, 0.85, 0.45]) } else { (ev + 2.0, [0.7, 0.85, 1.0]) };
            let y = eaves + 0.03 * h;
            shapes.push(Shape::rectangle(wx, y, 0.020 * h, 0.026 * h, 0.0, flat(0.9, [1.0, 1.0, 0.97])));
            shapes.push(Shape::rectangle(wx, y, 0.016 * h, 0.022 * h, 0.0, flat(ev, tint)));
            shapes.push(Shape::rectangle(wx, y, 0.0012 * h, 0.022 * h, 0.0, flat(0.9, [1.0, 1.0, 0.97])));
        }
        x += bw + rng.random_range(0.005..0.04) * h;
    }
}

/// A lattice crane.
fn crane(shapes: &mut Vec<Shape>, x: f64, foot: f64, height: f64) {
    let steel = flat(4.0, [0.9, 0.95, 1.0]);
    let thin = 0.010 * height;
    let (wide, top) = (0.07 * height, foot - height);
    for side in [-1.0, 1.0] {
        let mut from = [x + side * wide, foot];
        let to = [x + side * 0.3 * wide, top];
        shapes.push(Shape::bar(from, to, 1.6 * thin, steel.clone()));
        for i in 0..12 {
            let t = (f64::from(i) + 1.0) / 12.0;
            let side = if i % 2 == 0 { -side } else { side };
            let next = [x + side * wide * (1.0 - 0.7 * t), foot - t * height];
            shapes.push(Shape::bar(from, next, thin, steel.clone()));
            from = next;
        }
    }
    let (tip, back) = ([x - 0.85 * height, top - 0.18 * height], [x + 0.28 * height, top + 0.05 * height]);
    shapes.push(Shape::bar(tip, back, 2.0 * thin, steel.clone()));
    let lower = [tip[0], tip[1] + 0.03 * height];
    shapes.push(Shape::bar(lower, [x, top + 0.10 * height], 1.6 * thin, steel.clone()));
    for i in 0..14 {
        let at = |t: f64, drop: f64| [tip[0] + t * (x - tip[0]), tip[1] + t * (top - tip[1]) * 1.02 + drop * height];
        let t = f64::from(i) / 14.0;
        shapes.push(Shape::bar(at(t, 0.0), at(t + 0.5 / 14.0, 0.03 + 0.06 * t), thin, steel.clone()));
        shapes.push(Shape::bar(at(t + 0.5 / 14.0, 0.03 + 0.06 * t), at(t + 1.0 / 14.0, 0.0), thin, steel.clone()));
    }
    shapes.push(Shape::bar(tip, [tip[0], foot - 0.25 * height], 0.6 * thin, steel.clone()));
    shapes.push(Shape::rectangle(
        x,
        top + 0.09 * height,
        0.11 * height,
        0.11 * height,
        0.0,
        flat(2.0, [1.0, 0.75, 0.2]),
    ));
}

fn boat(rng: &mut ChaCha8Rng, shapes: &mut Vec<Shape>, x: f64, water: f64, size: f64) {
    let tints: [Radiance; 5] =
        [[0.25, 0.45, 0.9], [0.95, 0.93, 0.9], [0.9, 0.28, 0.22], [0.2, 0.55, 0.45], [0.95, 0.7, 0.25]];
    let tint = tints[rng.random_range(0..tints.len())];
    let ev = rng.random_range(1.2..2.6);
    let (l, d) = (size, 0.24 * size);
    // Its image in the water, then the hull, the rubbing strake and the deck house.
    let mirror = [
        [x - 0.42 * l, water],
        [x + 0.44 * l, water],
        [x + 0.35 * l, water + 0.9 * d],
        [x - 0.36 * l, water + 0.9 * d],
    ];
    shapes.push(Shape::polygon(&mirror, flat(ev + 2.4, tint)));
    let hull =
        [[x - 0.50 * l, water - d], [x + 0.54 * l, water - 1.18 * d], [x + 0.42 * l, water], [x - 0.40 * l, water]];
    shapes.push(Shape::polygon(&hull, flat(ev, tint)));
    shapes.push(Shape::bar(
        [x - 0.49 * l, water - 0.82 * d],
        [x + 0.51 * l, water - 0.98 * d],
        0.02 * l,
        flat(0.8, [1.0, 0.98, 0.9]),
    ));
    shapes.push(Shape::bar(
        [x - 0.40 * l, water - 0.04 * d],
        [x + 0.42 * l, water - 0.04 * d],
        0.025 * l,
        flat(5.0, [1.0; 3]),
    ));
    for i in 0..6 {
        let px = x - 0.3 * l + 0.12 * l * f64::from(i);
        shapes.push(Shape::circle(px, water - 0.5 * d, 0.012 * l, flat(ev + 2.2, [1.0; 3])));
    }
    let (hx, hy) = (x - 0.2 * l, water - 1.0 * d);
    shapes.push(Shape::rectangle(hx, hy - 0.09 * l, 0.24 * l, 0.2 * l, 0.0, flat(0.9, [1.0, 0.97, 0.92])));
    shapes.push(Shape::rectangle(hx, hy - 0.2 * l, 0.28 * l, 0.022 * l, 0.0, flat(2.4, tint)));
    for i in -1..=1 {
        shapes.push(Shape::rectangle(
            hx + 0.075 * l * f64::from(i),
            hy - 0.12 * l,
            0.05 * l,
            0.055 * l,
            0.0,
            flat(4.4, [0.7, 0.85, 1.0]),
        ));
    }
    // Mast, boom, stays, flag, a row of floats.
    let (mx, top) = (x + 0.10 * l, water - d - rng.random_range(0.95..1.5) * l);
    let wood = flat(3.6, [1.0, 0.85, 0.7]);
    let rope = flat(5.2, [1.0, 0.95, 0.9]);
    let lean = rng.random_range(-0.02..0.02) * l;
    shapes.push(Shape::bar([mx, water - d], [mx + lean, top], 0.020 * l, wood.clone()));
    shapes.push(Shape::bar([mx, water - d - 0.25 * l], [mx - 0.42 * l, water - d - 0.55 * l], 0.014 * l, wood));
    let tip = [mx + lean, top + 0.01 * l];
    for to in [
        [x + 0.53 * l, water - 1.15 * d],
        [x - 0.49 * l, water - d],
        [x - 0.30 * l, water - d],
        [mx - 0.42 * l, water - d - 0.55 * l],
    ] {
        shapes.push(Shape::bar(tip, to, (0.0045 * l).max(1.1), rope.clone()));
    }
    shapes.push(Shape::bar(
        [x + 0.50 * l, water - 1.1 * d],
        [x + 0.95 * l, water + 0.05 * l],
        (0.006 * l).max(1.2),
        rope,
    ));
    let flag = [[mx + lean, top], [mx + lean + 0.13 * l, top + 0.03 * l], [mx + lean, top + 0.08 * l]];
    shapes.push(Shape::polygon(&flag, flat(1.0, tints[rng.random_range(0..tints.len())])));
    for i in 0..4 {
        let fx = x + (0.1 + 0.08 * f64::from(i)) * l;
        shapes.push(Shape::circle(fx, water - 0.85 * d, 0.028 * l, flat(1.1, [1.0, 0.5, 0.2])));
    }
}

/// The near quay with crates, coils, floats and a net.
fn foreground(rng: &mut ChaCha8Rng, shapes: &mut Vec<Shape>, w: f64, h: f64) {
    let edge = 0.86 * h;
    let stone = Paint::Texture {
        radiance: tone(2.9, [1.0, 0.94, 0.86]),
        amplitude: 0.5,
        size_px: (0.014 * h) as f32,
        stretch: 1.3,
        seed: rng.random(),
    };
    shapes
        .push(Shape::polygon(&[[-9.0, edge + 0.03 * h], [w + 9.0, edge], [w + 9.0, h + 9.0], [-9.0, h + 9.0]], stone));
    shapes.push(Shape::bar([-9.0, edge + 0.03 * h], [w + 9.0, edge], 0.012 * h, flat(1.7, [1.0, 0.95, 0.88])));
    let mut x = -0.02 * w;
    while x < w {
        shapes.push(Shape::bar([x, h + 4.0], [x + 0.02 * h, edge + 0.02 * h], 0.0016 * h, flat(4.6, [1.0; 3])));
        x += rng.random_range(0.10..0.16) * h;
    }
    for _ in 0..9 {
        let (cx, size) = (rng.random_range(0.03..0.97) * w, rng.random_range(0.05..0.085) * h);
        let foot = h * rng.random_range(0.93..0.985);
        crate_box(rng, shapes, cx, foot, size);
    }
    // A net: two families of crossing cords within a heap.
    let (nx, ny, nw, nh) = (0.58 * w, 0.965 * h, 0.20 * h, 0.07 * h);
    shapes.push(Shape::ellipse(nx, ny, nw, nh, 0.0, flat(4.6, [0.6, 0.8, 0.75])));
    for i in -24..=24 {
        let u = f64::from(i) / 25.0;
        let half = nh * (1.0 - u * u).sqrt();
        let cord = flat(2.6, [0.5, 0.95, 0.85]);
        let thin = 0.0016 * h;
        shapes.push(Shape::bar(
            [nx + u * nw - 0.5 * half, ny - half],
            [nx + u * nw + 0.5 * half, ny + half],
            thin,
            cord.clone(),
        ));
        shapes.push(Shape::bar(
            [nx + u * nw + 0.5 * half, ny - half],
            [nx + u * nw - 0.5 * half, ny + half],
            thin,
            cord,
        ));
    }
    for _ in 0..26 {
        let (fx, fy) = (nx + rng.random_range(-1.1..1.1) * nw, ny + rng.random_range(-0.9..0.7) * nh);
        let r = rng.random_range(0.006..0.014) * h;
        shapes.push(Shape::circle(fx, fy, r, flat(1.2, [1.0, 0.45, 0.15])));
        shapes.push(Shape::circle(fx - 0.3 * r, fy - 0.3 * r, 0.3 * r, flat(0.3, [1.0, 0.85, 0.7])));
    }
    // Pebbles and scraps.
    for _ in 0..(0.0009 * w * h).min(7000.0) as usize {
        let (px, py) = (rng.random_range(0.0..w), rng.random_range(0.89..1.0) * h);
        let r = rng.random_range(0.0006..0.0025) * h;
        let ev = rng.random_range(1.8..4.6);
        shapes.push(Shape::ellipse(px, py, r, 0.7 * r, rng.random_range(0.0..180.0), flat(ev, [1.0, 0.95, 0.9])));
    }
}

fn crate_box(rng: &mut ChaCha8Rng, shapes: &mut Vec<Shape>, x: f64, foot: f64, size: f64) {
    let turn = rng.random_range(-9.0..9.0);
    let y = foot - size / 2.0;
    let ev = rng.random_range(1.4..2.6);
    shapes.push(Shape::rectangle(x, y, 1.5 * size, size, turn, flat(ev + 2.2, [1.0, 0.85, 0.7])));
    let (sin, cos) = (-f64::to_radians(turn)).sin_cos();
    let at = |u: f64, v: f64| [x + u * size * cos - v * size * sin, y + u * size * sin + v * size * cos];
    for i in 0..5 {
        let v = -0.4 + 0.2 * f64::from(i);
        let slat = flat(ev + rng.random_range(-0.2..0.2), [1.0, 0.8, 0.55]);
        shapes.push(Shape::bar(at(-0.74, v), at(0.74, v), 0.15 * size, slat));
    }
    for u in [-0.68, 0.0, 0.68] {
        shapes.push(Shape::bar(at(u, -0.5), at(u, 0.5), 0.10 * size, flat(ev + 0.5, [1.0, 0.78, 0.5])));
    }
}
