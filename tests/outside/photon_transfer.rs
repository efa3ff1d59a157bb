//! Photon transfer by the formulas of EMVA 1288 (release 4.0, from memory: the temporal variance of a pair of frames is
//! mean((A - B)^2) / 2 - (mean A - mean B)^2 / 2; its slope against the mean is the gain, the pair of dark frames gives the
//! dark noise; DSNU = s_dark / K and PRNU = sqrt(s_50^2 - s_dark^2) / (mean_50 - mean_dark), s^2 the spatial variance of the
//! high-passed mean frame less its temporal part), computed by numpy on the samples that LibRaw (through rawpy) reads from the same files as `sensor`.

use rawassay_analysis::bench::photon_transfer::{Collector, Kind};
use rawassay_scene::{Camera, Compression, Filter, Recipe, SceneKind, expose, light};

use crate::python;

const SCRIPT: &str = r"
import sys, numpy as np, rawpy
def planes(path):
    with rawpy.imread(path) as raw:
        image, which = raw.raw_image_visible.astype(float), raw.raw_pattern
        rows, columns = which.shape
        at = [np.argwhere(which == colour)[0] for colour in (0, 1, 3, 2)]
        return [image[y::rows, x::columns] for y, x in at]
def pair(a, b):
    d = a - b
    return (a.mean() + b.mean()) / 2, (d**2).mean() / 2 - d.mean()**2 / 2
def measured(paths):
    frames = [planes(p) for p in paths]
    return [[pair(a[c], b[c]) for a, b in zip(frames[::2], frames[1::2])] for c in range(4)]
def spatial(frames, c):
    # The standard's high pass: the frame less a mean over 7 x 7; s^2 of what is left, scaled by what the mean takes of white noise.
    mean, temporal = np.mean([f[c] for f in frames], 0), pair(frames[0][c], frames[1][c])[1] / len(frames)
    rest = mean - uniform_filter(mean, 7)
    return rest[7:-7, 7:-7].var() / (1 - 1 / 49) - temporal, mean.mean()
def still(c, slope):
    (dark, black), (flat, level) = spatial(dark_frames, c), spatial(half_frames, c)
    return np.sqrt(dark) / slope, 100 * np.sqrt(flat - dark) / (level - black)
from scipy.ndimage import uniform_filter
n = int(sys.argv[1])
dark_frames, half_frames = [planes(p) for p in sys.argv[2 + n:][:2]], [planes(p) for p in sys.argv[n:n + 2]]
flats, darks = measured(sys.argv[2:2 + n]), measured(sys.argv[2 + n:])
for c in range(4):
    dark, dark2 = np.mean(darks[c], 0)
    mean, variance = np.array(flats[c]).T
    low = mean < 0.7 * 16383
    slope = np.polyfit(np.append(mean[low] - dark, 0), np.append(variance[low] - dark2, 0), 1, w=1 / np.append(variance[low], dark2))[0]
    # A sample that is rounded to whole numbers has 1/12 DN^2 of variance from that.
    print(1 / slope, np.sqrt(dark2 - 1 / 12), dark, *still(c, slope))
";

#[test]
fn sensor_agrees_with_the_formulas_in_numpy() {
    let Some(python) = python::interpreter() else { return };
    let folder = tempfile::tempdir().unwrap();
    let camera = Camera { filter: Filter::two_by_two("GRBG"), prnu_pct: 0.6, dark_spread_e: 1.5, ..Camera::default() };
    let mut recipe = Recipe::new(SceneKind::Flat).size(900, 700).camera(camera);
    let mut collector = Collector::new();
    let (mut flats, mut darks) = (Vec::new(), Vec::new());
    for (k, share) in [0.0, 0.0, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65].into_iter().enumerate() {
        recipe.scene = if share > 0.0 { SceneKind::Flat } else { SceneKind::Dark };
        recipe.exposure.white_ev = f64::log2(f64::max(share, 0.05));
        recipe.shot.shutter_s = 0.02 * f64::max(share, 0.05);
        let field = light(&recipe);
        for i in 0..2 {
            recipe.seed = 10 * k as u64 + i;
            let path = folder.path().join(format!("{k}_{i}.dng"));
            let bytes = expose(&recipe, &field).to_dng(Compression::None);
            std::fs::write(&path, &bytes).unwrap();
            let kind = if share > 0.0 { Kind::Flat } else { Kind::Dark };
            let name = path.display().to_string();
            collector.add(&name, rawassay_decode::open_bytes(&path, bytes).unwrap(), kind).unwrap();
            if share > 0.0 { &mut flats } else { &mut darks }.push(name);
        }
    }
    let ours = collector.finish().unwrap();
    let count = flats.len().to_string();
    let arguments: Vec<&str> =
        std::iter::once(count.as_str()).chain(flats.iter().chain(&darks).map(String::as_str)).collect();
    let text = python::run(&python, SCRIPT, &arguments);
    let theirs: Vec<Vec<f64>> =
        text.lines().map(|l| l.split_whitespace().map(|f| f.parse().unwrap()).collect()).collect();
    // LibRaw's colours: red, green of the red rows, green of the blue rows, blue.
    for (name, theirs) in ["R", "G1", "G2", "B"].into_iter().zip(theirs) {
        let c = ours.channels.iter().find(|c| c.name == name).unwrap();
        let near = |ours: f64, theirs: f64, what: &str| {
            assert!((ours / theirs - 1.0).abs() < 0.01, "{name} {what}: {ours} against {theirs}");
        };
        near(c.gain_e_per_dn, theirs[0], "gain");
        near(c.read_noise_dn.unwrap(), theirs[1], "read noise");
        near(c.dark_dn, theirs[2], "dark level");
        let about = |ours: Option<f64>, theirs: f64, what: &str| {
            let ours = ours.unwrap();
            assert!((ours / theirs - 1.0).abs() < 0.04, "{name} {what}: {ours} against {theirs}");
        };
        // The middle 70 % against the whole frame: other photosites, whose spread is known within a per cent or two.
        about(c.dsnu_e, theirs[3], "DSNU");
        about(c.prnu_pct, theirs[4], "PRNU");
    }
}
