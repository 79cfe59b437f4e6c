//! exploration
use super::track::{STEP, Track};

/// Lengths, in spectra, over which a straight line is tried.
const LENGTHS: [usize; 13] = [5, 6, 8, 10, 14, 20, 28, 40, 56, 80, 112, 160, 224];

pub const NAMES: [&str; 46] = [
    "age", "freq", "level", "height", "birth", "leap", "unborn", "line", "growth", "rise", "rms", "r2", "base_h", "wander", "span_hz", "width",
    "over", "under", "rest", "share", "company", "rest_fall", "g10", "r10", "g25", "r25", "g50", "r50", "g100", "r100", "med10", "med50", "pos50",
    "w25", "w50", "w100", "minage", "life_rise", "miss", "head", "alike", "family", "famalike", "rg25", "rg50", "pre",
];

const RATIOS: [f64; 18] = [2.0, 3.0, 4.0, 5.0, 6.0, 0.5, 1.0/3.0, 0.25, 0.2, 1.5, 2.0/3.0, 4.0/3.0, 0.75, 1.25, 0.8, 1.2, 5.0/3.0, 0.6];
#[derive(Clone, Copy, Debug, Default)]
struct Sums { r: f64, tr: f64, n: f64, t: f64, tt: f64, l: f64, tl: f64, ll: f64, f: f64, ff: f64, tf: f64, min_f: f64, max_f: f64 }
impl Sums {
    fn slope(&self) -> f64 { (self.n * self.tl - self.t * self.l) / (self.n * self.tt - self.t * self.t) }
    fn rms(&self) -> f64 {
        let g = self.slope();
        let (ml, mt) = (self.l / self.n, self.t / self.n);
        let sll = self.ll / self.n - ml * ml;
        let stt = self.tt / self.n - mt * mt;
        (sll - g * g * stt).max(0.0).sqrt()
    }
    fn rest(&self) -> f64 { (self.n * self.tr - self.t * self.r) / (self.n * self.tt - self.t * self.t) }
    fn r2(&self) -> f64 {
        let ml = self.l / self.n;
        let sll = (self.ll / self.n - ml * ml).max(1e-9);
        1.0 - self.rms().powi(2) / sll
    }
    fn sdf(&self) -> f64 { (self.ff / self.n - (self.f / self.n).powi(2)).max(0.0).sqrt() }
}

pub fn features(track: &Track, all: &[(f64, f64, u64, f64)]) -> Option<[f32; 46]> {
    if track.age < 5 || track.missing > 0 { return None; }
    let now = track.point(0)?;
    let l0 = f64::from(now.level);
    let mut s = Sums { min_f: 1e9, max_f: -1e9, ..Default::default() };
    let mut line: Option<(Sums, usize, f64)> = None;
    let mut at = [(0.0f64, 99.0f64, 99.0f64, 0.0f64); 4]; // slopes at 10 25 50 100
    let mut k = 0;
    let mut broken = false;
    let mut rest_max = -200.0f64;
    let f_now = track.base + f64::from(now.off);
    for back in 0..track.len().min(224) {
        let p = track.point(back)?;
        if back < 75 && !p.level.is_nan() { rest_max = rest_max.max(f64::from(p.rest)); }
        if !p.level.is_nan() {
            let (t, l, f) = (-(back as f64) * STEP, f64::from(p.level) - l0, f64::from(p.off));
            s.n += 1.0; s.t += t; s.tt += t * t; s.l += l; s.tl += t * l; s.ll += l * l;
            s.r += f64::from(p.rest); s.tr += t * f64::from(p.rest); s.f += f; s.ff += f * f; s.tf += t * f; s.min_f = s.min_f.min(f); s.max_f = s.max_f.max(f);
        }
        let len = back + 1;
        if k < LENGTHS.len() && (len == LENGTHS[k] || (len == track.len() && len >= 5)) {
            if len == LENGTHS[k] { k += 1; }
            if s.n >= 5.0 && !broken {
                let rms = s.rms();
                if rms <= 1.2 { line = Some((s, len, f64::from(p.height))); }
                else if rms > 4.0 { broken = true; }
            }
        }
        for (i, n) in [10usize, 25, 50, 100].into_iter().enumerate() {
            if (len == n || (len == track.len() && len < n)) && s.n >= 5.0 { at[i] = (s.slope(), s.rms(), s.sdf(), s.rest()); }
        }
    }
    let (ls, llen, lh) = line.unwrap_or((s, 0, 0.0));
    let mut inc: Vec<f64> = vec![];
    for back in 0..50 { if let (Some(a), Some(b)) = (track.point(back), track.point(back + 5)) { if !a.level.is_nan() && !b.level.is_nan() { inc.push(f64::from(a.level - b.level) / 0.1); } } }
    let med10 = median(&inc[..inc.len().min(10)]);
    let pos = inc.iter().filter(|x| **x > 0.0).count() as f64 / inc.len().max(1) as f64;
    let med50 = median(&inc);
    let first = track.first;
    let growth = if llen > 0 { ls.slope() } else { 0.0 };
    let company = all.iter().filter(|o| (o.0 / f_now - 1.0).abs() > 0.03 && o.2 >= 5 && o.3 > 12.0 && o.1 > 2.0 && o.1 > 0.5 * growth.max(2.0)).count();
    let over = if track.peak.over.is_silence() { -99.0 } else { track.peak.over.get() - l0 };
    let under = if track.peak.under.is_silence() { -99.0 } else { track.peak.under.get() - l0 };
    let life = track.age as f64 * STEP;
    let pace = at[0].0;
    let is_alike = |o: &&(f64, f64, u64, f64)| o.2 >= 5 && o.3 > 12.0 && (o.0 / f_now - 1.0).abs() > 0.03 && (o.1 - pace).abs() < 1.0 + 0.3 * pace.abs();
    let kin = |o: &&(f64, f64, u64, f64)| { let q = o.0 / f_now; o.2 >= 5 && RATIOS.iter().any(|r| (q / r - 1.0).abs() < 0.004) };
    let alike = all.iter().filter(|o| is_alike(o) && pace > 1.5).count();
    let family = all.iter().filter(kin).count();
    let famalike = all.iter().filter(|o| kin(o) && is_alike(o) && pace > 1.5).count();
    let pre = if llen == 0 { 0.0 } else if (llen as u64) + 2 >= track.age { first.0 } else {
        let a = track.point(llen - 1).map_or(f64::NAN, |p| f64::from(p.level)); let b = (llen..llen + 7).filter_map(|b| track.point(b)).map(|p| f64::from(p.level)).fold(f64::INFINITY, f64::min); if a.is_nan() || !b.is_finite() { 0.0 } else { a - b } };
    let v = [
        life, f_now, l0, f64::from(now.height), first.0, track.leap, f64::from(u8::from(track.unborn)),
        llen as f64 * STEP, growth, growth * llen as f64 * STEP, if llen > 0 { ls.rms() } else { 9.0 }, if llen > 0 { ls.r2() } else { 0.0 }, lh,
        if llen > 0 { ls.sdf() } else { 9.0 }, ls.max_f - ls.min_f, track.peak.width.get(), over, under,
        f64::from(now.rest), l0 - f64::from(now.rest), company as f64, rest_max - f64::from(now.rest),
        at[0].0, at[0].1, at[1].0, at[1].1, at[2].0, at[2].1, at[3].0, at[3].1, med10, med50, pos, at[1].2, at[2].2, at[3].2,
        0.0, l0 - first.1, track.gone as f64, track.peak.surroundings.get(), alike as f64, family as f64, famalike as f64, at[1].3, at[2].3, pre,
    ];
    if !(f64::from(now.height) >= 11.0 && (at[0].0 > 0.8 || at[1].0 > 0.8 || at[2].0 > 0.8)) { return None; }
    Some(v.map(|x| x as f32))
}
fn median(v: &[f64]) -> f64 { if v.is_empty() { return 0.0; } let mut v = v.to_vec(); v.sort_by(f64::total_cmp); v[v.len() / 2] }
