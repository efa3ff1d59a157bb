//! Speed of the sharpness measure on a 24 megapixel frame, beside a plain pass over its pixels.
//!
//! `cargo bench -p rawassay-analysis --bench sharpness` first prints nanoseconds per pixel and the ratio.

#![allow(clippy::print_stdout, missing_docs)]

use std::hint::black_box;
use std::sync::LazyLock;
use std::time::Instant;

use rawassay_analysis::{Channel, SaturationFrom, measure_sharpness};
use rawassay_decode::{Area, BlackFrom, FilterArray, Frame, Integrity, PlaneLevels, Reader, Shot};

const WIDTH: usize = 6000;
const HEIGHT: usize = 4000;

/// Blurred squares of many sizes and turns on a grid, with a grain of noise.
static FRAME: LazyLock<(Frame, Vec<Channel>)> = LazyLock::new(|| {
    let mut state = 1_u64;
    let mut samples = Vec::with_capacity(WIDTH * HEIGHT);
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let (cell_x, cell_y) = (x / 110, y / 110);
            let seed = (cell_x * 7919 + cell_y * 104_729) % 997;
            let (s, c) = (seed as f32 * 0.37).sin_cos();
            let (dx, dy) = ((x % 110) as f32 - 55.0, (y % 110) as f32 - 55.0);
            let (u, v) = ((c * dx + s * dy).abs(), (c * dy - s * dx).abs());
            let inside = 22.0 + (seed % 12) as f32 - u.max(v);
            let share = 1.0 / (1.0 + (-2.4 * inside).exp());
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let grain = ((state >> 40) & 0x3f) as f32 - 31.5;
            samples.push((1500.0 + share * (2000.0 + 9.0 * seed as f32) + grain) as u16);
        }
    }
    let filter = FilterArray::bayer("RGGB").unwrap_or_else(FilterArray::monochrome);
    let level = |_: &_| PlaneLevels {
        black_dn: 512.0,
        black_from: BlackFrom::Declared,
        white_declared_dn: 16383.0,
        masked_noise_dn: None,
    };
    let channels = filter
        .planes
        .iter()
        .map(|plane| Channel {
            name: plane.name.clone(),
            black_dn: 512.0,
            black_from: BlackFrom::Declared,
            white_declared_dn: 16383.0,
            saturation_dn: 16383.0,
            saturation_from: SaturationFrom::Declared,
            clipped_pct: 0.0,
            floor_pct: None,
            headroom_ev: None,
            median_ev: None,
            gain_e_per_dn: Some(6.0),
            read_noise_dn: Some(10.0),
            read_noise_e: None,
            full_well_e: None,
            snr_midtone_db: None,
        })
        .collect();
    let frame = Frame {
        samples,
        width: WIDTH,
        height: HEIGHT,
        levels: filter.planes.iter().map(level).collect(),
        filter,
        active: Area::new(0, 0, WIDTH, HEIGHT),
        masked: Vec::new(),
        shot: Shot::default(),
        reader: Reader { name: "bench".into(), version: String::new() },
        dithered: false,
        integrity: Integrity::Whole,
        noise_profile: Vec::new(),
        notes: Vec::new(),
    };
    (frame, channels)
});

fn plain(frame: &Frame) -> u64 {
    frame.samples.iter().map(|&s| u64::from(s)).sum()
}

#[divan::bench]
fn plain_pass(bencher: divan::Bencher<'_, '_>) {
    bencher.bench(|| plain(black_box(&FRAME.0)));
}

#[divan::bench(sample_count = 10)]
fn sharpness(bencher: divan::Bencher<'_, '_>) {
    bencher.bench(|| measure_sharpness(black_box(&FRAME.0), &FRAME.1));
}

fn best_of(times: usize, run: &mut dyn FnMut()) -> f64 {
    (0..times)
        .map(|_| {
            let begun = Instant::now();
            run();
            begun.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn main() {
    let (frame, channels) = &*FRAME;
    let pass = best_of(5, &mut || {
        black_box(plain(black_box(frame)));
    });
    let measure = best_of(3, &mut || {
        black_box(measure_sharpness(black_box(frame), channels));
    });
    let pixels = (WIDTH * HEIGHT) as f64;
    println!(
        "sharpness: {:.1} ns per pixel, {:.0} times a plain pass ({:.2} ns per pixel)",
        measure / pixels * 1e9,
        measure / pass,
        pass / pixels * 1e9
    );
    divan::main();
}
