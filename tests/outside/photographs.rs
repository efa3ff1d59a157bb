//! Kind of blur on photographs that come with scikit-image (`skimage.data`; public domain or free licences), taken as
//! scenes: halved, mirrored to 1200 x 800, blurred by numpy, mosaicked, with photon noise of 3000 to 40 000 electrons and two
//! electrons of read noise, written by tifffile.
//! What is simulated is only the camera; the structure is that of real gravel, print, coins, faces. Left out are those that
//! are not sharp themselves: cell, chelsea, clock_motion.

use crate::python;

const SCRIPT: &str = r"
import sys, numpy as np, tifffile
from scipy.special import j1
from skimage import data
H, W = 1600, 2400
fy, fx = 2 * np.fft.fftfreq(H)[:, None], 2 * np.fft.rfftfreq(W)[None]
f = np.maximum(np.hypot(fy, fx), 1e-9)
def lens(sigma): return np.exp(-2 * np.pi**2 * sigma**2 * f**2) * np.sinc(fx) * np.sinc(fy)
def moved(length, deg): return np.sinc(length * (fx * np.cos(np.deg2rad(deg)) - fy * np.sin(np.deg2rad(deg))))
def disc(r): return 2 * j1(2 * np.pi * r * f) / (2 * np.pi * r * f)
rng = np.random.default_rng(11)
names = ['astronaut', 'camera', 'coffee', 'gravel', 'grass', 'coins', 'text', 'page', 'retina', 'rocket', 'hubble_deep_field',
         'moon', 'immunohistochemistry', 'brick']
for k, name in enumerate(names):
    scene = np.asarray(getattr(data, name)(), float)
    scene = (scene if scene.ndim == 2 else scene[..., :3].mean(2)) / 255
    scene = np.pad(scene, [(0, max(0, n - m)) for n, m in zip((H, W), scene.shape)], 'symmetric')[:H, :W] ** 2.2
    length, deg, r = rng.uniform(7, 13), rng.uniform(0, 180), rng.uniform(3, 6)
    blurs = {'none': 1, 'motion': moved(length, deg), 'defocus': disc(r), 'mixed': moved(length, deg) * disc(r)}
    well = [40000, 12000, 3000][k % 3]
    for kind, blur in blurs.items():
        light = np.fft.irfft2(np.fft.rfft2(scene) * lens(rng.uniform(0.4, 0.65)) * blur, s=(H, W))[1::2, 1::2]
        colours = np.tile([[0.6, 1.0], [1.0, 0.7]], (H // 4, W // 4))
        electrons = rng.poisson(np.clip(light, 0, None) * colours * (0.8 / np.quantile(light, 0.995)) * well)
        dn = np.round((np.minimum(electrons, well) + rng.normal(0, 2, electrons.shape)) / well * 15871 + 512)
        path = f'{sys.argv[1]}/{name}_{kind}.dng'
        tags = [(33421, 3, 2, (2, 2)), (33422, 1, 4, bytes([0, 1, 1, 2])), (50706, 1, 4, bytes([1, 4, 0, 0])),
                (50708, 2, 0, 'Simulated'), (50714, 3, 1, 512), (50717, 3, 1, 16383),
                (50721, 10, 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1))]
        tifffile.imwrite(path, np.clip(dn, 0, 16383).astype('<u2'), photometric=32803, extratags=tags, metadata=None)
        print(path, kind, length, deg, r)
";

#[test]
fn photographs_are_told_sharp_shaken_or_out_of_focus() {
    let Some(python) = python::interpreter() else { return };
    let folder = tempfile::tempdir().unwrap();
    let text = python::run(&python, SCRIPT, &[folder.path().to_str().unwrap()]);
    let (mut frames, mut right, mut wrong, mut lengths, mut radii) = (0, 0, 0, Vec::new(), Vec::new());
    for line in text.lines() {
        let fields: Vec<&str> = line.split_whitespace().collect();
        let (path, kind) = (std::path::Path::new(fields[0]), fields[1]);
        let truth: Vec<f64> = fields[2..].iter().map(|f| f.parse().unwrap()).collect();
        let frame = rawassay_decode::open_bytes(path, std::fs::read(path).unwrap()).unwrap();
        let blur = rawassay_analysis::measure(&frame).blur;
        let found = format!("{:?}", blur.kind).to_lowercase();
        frames += 1;
        wrong += usize::from(found != kind && found != "undetermined");
        eprintln!("{} {found} {:.2} {:?}", path.file_name().unwrap().display(), blur.confidence, blur.motion_px);
        // Undetermined is an answer; a sharp frame called blurred, or a blurred one sharp, is not.
        assert_eq!(kind == "none", found == "none" || kind == "none" && found == "undetermined", "{line}: {blur:?}");
        if found == kind {
            right += 1;
            lengths.extend(blur.motion_px.map(|px| (px / truth[0] - 1.0).abs()));
            radii.extend(blur.defocus_px.map(|px| (px / truth[2] - 1.0).abs()));
        }
    }
    assert!(frames == 56 && right >= 48 && wrong <= 1, "{right} of {frames}, {wrong} wrong");
    for mut errors in [lengths, radii] {
        errors.sort_by(f64::total_cmp);
        assert!(errors[errors.len() / 2] < 0.04, "{errors:?}");
    }
}
