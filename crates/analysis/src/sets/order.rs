//! The order of a burst's frames, best first, in little more time than sorting takes: a camera left running makes bursts
//! of thousands.

use std::cmp::Ordering;

/// Clipped areas within this ratio are one, and so are those below the least, per cent of the frame: a frame just over
/// a limit is not worse than one just below it.
const SAME_CLIPPING: f64 = 1.5;
const LEAST_CLIPPING_PCT: f64 = 0.05;
/// Blur that is given for highlights or shadows which the brief calls borderline; where it calls them lost, any that
/// the brief does not fail (own choice: a tenth is about what the eye sees on two prints side by side).
const WORTH_HIGHLIGHTS: f64 = 1.1;
/// How one frame stands in its burst.
#[derive(Debug, Clone, Copy)]
pub(super) struct Standing {
    /// Edge rise over all directions, motion included, pixels.
    pub(super) blur_px: Option<f64>,
    /// Blur up to which another frame is as sharp as this one.
    pub(super) as_sharp_px: f64,
    /// Worst of blur's findings: 0 none, 1 borderline, 2 fails.
    pub(super) blurred: u8,
    /// The same of lost highlights and shadows.
    pub(super) lost: u8,
    /// True where what is lost is highlights.
    pub(super) blown: bool,
    /// Clipped area, per cent.
    pub(super) clipped_pct: f64,
    /// Mid-tone signal-to-noise, dB.
    pub(super) snr_db: Option<f64>,
}

impl Standing {
    pub(super) fn fault(&self) -> u8 {
        self.blurred.max(self.lost)
    }

    pub(super) fn blur(&self) -> f64 {
        self.blur_px.unwrap_or(f64::MAX)
    }

    /// Class of the clipped area; areas of one class do not differ to the eye.
    pub(super) fn clipping_class(&self) -> i32 {
        (self.clipped_pct.max(LEAST_CLIPPING_PCT) / LEAST_CLIPPING_PCT).log(SAME_CLIPPING).round() as i32
    }

    /// Noise in steps of one decibel, less first.
    pub(super) fn noise_class(&self) -> i32 {
        self.snr_db.map_or(i32::MAX, |snr| -(snr.round() as i32))
    }

    /// Whether so small a clipped area is clearly less than what this frame lost.
    fn clearly_less(&self, clipped_pct: f64) -> bool {
        !self.blown || self.clipped_pct > SAME_CLIPPING * clipped_pct.max(LEAST_CLIPPING_PCT)
    }

    /// Blur up to which a frame that kept the tones is preferred to this one.
    fn price_px(&self) -> f64 {
        if self.lost == 2 { f64::INFINITY } else { WORTH_HIGHLIGHTS * self.blur() }
    }
}

/// The places of the frames, best first. Each time of those left: the sharpest frame; where it lost tones by the brief, the
/// sharpest of those that lost clearly less and stand better with the brief in all. Of the frames as sharp as that one,
/// the one with the least clipping, then the least noise, then the least blur. Frames of unknown sharpness come last, by
/// what is wrong with them.
pub(super) fn best_first(all: &[Standing]) -> Vec<usize> {
    let mut told: Vec<usize> = (0..all.len()).filter(|&i| all[i].blur_px.is_some()).collect();
    let mut untold: Vec<usize> = (0..all.len()).filter(|&i| all[i].blur_px.is_none()).collect();
    told.sort_by(|&a, &b| all[a].blur().total_cmp(&all[b].blur()));
    untold.sort_by_cached_key(|&i| (all[i].fault(), all[i].clipping_class()));

    let mut by_merit = told.clone();
    by_merit.sort_by_cached_key(|&i| Merit(all[i].clipping_class(), all[i].noise_class(), all[i].blur(), i));
    let mut merit = vec![usize::MAX; all.len()];
    for (rank, &i) in by_merit.iter().enumerate() {
        merit[i] = rank;
    }
    let mut classes: Vec<Class> = (0..9).map(|_| Class::default()).collect();
    for &i in &told {
        classes[usize::from(3 * all[i].lost + all[i].fault())].members.push(i);
    }
    for class in &mut classes {
        class.build(all, &merit);
    }

    let mut order = Vec::with_capacity(all.len());
    let mut left = vec![true; all.len()];
    for &sharpest in &told {
        // Others may be taken before the sharpest that is left; it comes last of its turns.
        while left[sharpest] {
            let next = next_best(&all[sharpest], &classes, all, &by_merit, &merit).unwrap_or(sharpest);
            left[next] = false;
            classes[usize::from(3 * all[next].lost + all[next].fault())].remove(next, all);
            order.push(next);
        }
    }
    order.extend(untold);
    order
}

/// The best of those left, `sharpest` being the sharpest of them.
fn next_best(
    sharpest: &Standing,
    classes: &[Class],
    all: &[Standing],
    by_merit: &[usize],
    merit: &[usize],
) -> Option<usize> {
    let least = |ranks: &mut dyn Iterator<Item = usize>| ranks.min().and_then(|rank| by_merit.get(rank)).copied();
    for fault in 0..sharpest.fault() {
        let pool = || (0..sharpest.lost).map(move |lost| &classes[usize::from(3 * lost + fault)]);
        let first = pool().filter_map(|class| class.first(|pct| sharpest.clearly_less(pct)));
        let first = first.filter(|&i| all[i].blur() <= sharpest.price_px());
        let by_blur = |a: &usize, b: &usize| all[*a].blur().total_cmp(&all[*b].blur()).then(a.cmp(b));
        if let Some(first) = first.min_by(by_blur) {
            let within = all[first].as_sharp_px.min(sharpest.price_px());
            return least(&mut pool().filter_map(|class| {
                let rank = class.best_within(within, all);
                match by_merit.get(rank) {
                    Some(&i) if !sharpest.clearly_less(all[i].clipped_pct) => {
                        // Seldom: clipping of one class, on both sides of what is clearly less.
                        let prefix = class.within(within, all);
                        let kept = prefix.filter(|&i| class.holds(i, all) && sharpest.clearly_less(all[i].clipped_pct));
                        kept.map(|i| merit[i]).min()
                    }
                    found => found.map(|_| rank),
                }
            }));
        }
    }
    least(&mut classes.iter().map(|class| class.best_within(sharpest.as_sharp_px, all)))
}

/// What equally sharp frames go by: clipping, noise, blur, and their order in the burst.
#[derive(PartialEq)]
struct Merit(i32, i32, f64, usize);

impl Eq for Merit {}

impl PartialOrd for Merit {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Merit {
    fn cmp(&self, other: &Self) -> Ordering {
        let classes = (self.0, self.1).cmp(&(other.0, other.1));
        classes.then(self.2.total_cmp(&other.2)).then(self.3.cmp(&other.3))
    }
}

/// Frames that lost as much and stand alike with the brief, sharpest first, with the best merit and the least clipping
/// of each part of them (a binary tree over the places, its root at 1).
#[derive(Default)]
struct Class {
    members: Vec<usize>,
    leaves: usize,
    nodes: Vec<(usize, f64)>,
}

const NOBODY: (usize, f64) = (usize::MAX, f64::INFINITY);

impl Class {
    fn build(&mut self, all: &[Standing], merit: &[usize]) {
        self.leaves = self.members.len().next_power_of_two();
        self.nodes = vec![NOBODY; 2 * self.leaves];
        for (place, &i) in self.members.iter().enumerate() {
            self.nodes[self.leaves + place] = (merit[i], all[i].clipped_pct);
        }
        for node in (1..self.leaves).rev() {
            self.join(node);
        }
    }

    fn join(&mut self, node: usize) {
        let (a, b) = (self.nodes[2 * node], self.nodes[2 * node + 1]);
        self.nodes[node] = (a.0.min(b.0), a.1.min(b.1));
    }

    /// Place of a frame among the members.
    fn place(&self, i: usize, all: &[Standing]) -> Option<usize> {
        self.members.binary_search_by(|&m| all[m].blur().total_cmp(&all[i].blur()).then(m.cmp(&i))).ok()
    }

    fn holds(&self, i: usize, all: &[Standing]) -> bool {
        self.place(i, all).is_some_and(|place| self.nodes[self.leaves + place].0 != usize::MAX)
    }

    fn remove(&mut self, i: usize, all: &[Standing]) {
        let Some(place) = self.place(i, all) else { return };
        let mut node = self.leaves + place;
        self.nodes[node] = NOBODY;
        while node > 1 {
            node /= 2;
            self.join(node);
        }
    }

    /// The sharpest that is left with an accepted clipped area; what is accepted holds for smaller areas too.
    fn first(&self, accepted: impl Fn(f64) -> bool) -> Option<usize> {
        let some = |node: usize| self.nodes[node].0 != usize::MAX && accepted(self.nodes[node].1);
        let mut node = 1;
        if !some(node) {
            return None;
        }
        while node < self.leaves {
            node = if some(2 * node) { 2 * node } else { 2 * node + 1 };
        }
        self.members.get(node - self.leaves).copied()
    }

    /// Members no more blurred than `blur`, taken ones included.
    fn within(&self, blur: f64, all: &[Standing]) -> impl Iterator<Item = usize> {
        let end = self.members.partition_point(|&i| all[i].blur() <= blur);
        self.members[..end].iter().copied()
    }

    /// Rank in merit of the best of those left that are no more blurred than `blur`; the largest number where there are none.
    fn best_within(&self, blur: f64, all: &[Standing]) -> usize {
        let end = self.members.partition_point(|&i| all[i].blur() <= blur);
        let (mut from, mut to) = (self.leaves, self.leaves + end);
        let mut best = usize::MAX;
        while from < to {
            if from % 2 == 1 {
                best = best.min(self.nodes[from].0);
                from += 1;
            }
            if to % 2 == 1 {
                to -= 1;
                best = best.min(self.nodes[to].0);
            }
            (from, to) = (from / 2, to / 2);
        }
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The rule as it is written, one frame after the other.
    fn one_by_one(all: &[Standing]) -> Vec<usize> {
        let mut left: Vec<usize> = (0..all.len()).collect();
        let mut order = Vec::new();
        while !left.is_empty() {
            let next = next(all, &left);
            left.retain(|&i| i != next);
            order.push(next);
        }
        order
    }

    fn next(all: &[Standing], left: &[usize]) -> usize {
        let sharpest_of =
            |pool: &[usize]| pool.iter().copied().min_by(|&a, &b| all[a].blur().total_cmp(&all[b].blur()));
        let mut pool: Vec<usize> = left.iter().copied().filter(|&i| all[i].blur_px.is_some()).collect();
        let Some(mut sharpest) = sharpest_of(&pool) else {
            return left.iter().copied().min_by_key(|&i| (all[i].fault(), all[i].clipping_class())).unwrap_or(0);
        };
        let lost = &all[sharpest];
        let kept: Vec<usize> = pool
            .iter()
            .copied()
            .filter(|&i| {
                let other = &all[i];
                lost.lost > other.lost
                    && lost.fault() > other.fault()
                    && lost.clearly_less(other.clipped_pct)
                    && other.blur() <= lost.price_px()
            })
            .collect();
        if let Some(least) = kept.iter().map(|&i| all[i].fault()).min() {
            pool = kept.into_iter().filter(|&i| all[i].fault() == least).collect();
            sharpest = sharpest_of(&pool).unwrap_or(sharpest);
        }
        let within = all[sharpest].as_sharp_px;
        let equal = pool.into_iter().filter(|&i| all[i].blur() <= within);
        let merit = |i: usize| (all[i].clipping_class(), all[i].noise_class());
        equal.min_by(|&a, &b| merit(a).cmp(&merit(b)).then(all[a].blur().total_cmp(&all[b].blur()))).unwrap_or(sharpest)
    }

    #[test]
    fn the_fast_way_gives_the_order_of_the_rule() {
        let mut state = 5_u64;
        let mut dice = move |sides: u64| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) % sides
        };
        for burst in 0..3000 {
            let frames = 1 + dice(if burst % 50 == 0 { 200 } else { 12 });
            let all: Vec<Standing> = (0..frames)
                .map(|_| {
                    // Few values, so that many are equal or near.
                    let blur = 1.0 + 0.02 * dice(12) as f64;
                    Standing {
                        blur_px: (dice(8) > 0).then_some(blur),
                        as_sharp_px: blur * (1.01 + 0.01 * dice(5) as f64),
                        blurred: dice(3) as u8,
                        lost: dice(3) as u8,
                        blown: dice(2) > 0,
                        clipped_pct: 0.03 * dice(12) as f64,
                        snr_db: (dice(5) > 0).then_some(30.0 + 0.4 * dice(6) as f64),
                    }
                })
                .collect();
            assert_eq!(best_first(&all), one_by_one(&all), "{all:?}");
        }
    }
}
