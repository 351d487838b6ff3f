//! Error diffusion: each dot's error goes to its neighbours that are not decided yet.

mod floyd_steinberg;
mod lanes;
mod rows;
pub(in crate::screen) mod startup;
mod variable;
#[cfg(target_arch = "x86_64")]
mod wavefront;
mod wide;
mod zhou_fang;

use super::{Options, Screen, Wants};
use crate::plane::{Dots, Tone};
use crate::progress::Progress;
use floyd_steinberg::FloydSteinberg;
use lanes::{Lanes, Single};
use rows::{Left, Row, Rule};
use variable::Variable;
use wide::Wide;

/// Floyd and Steinberg 1976.
pub const FLOYD_STEINBERG: Screen = Screen {
    name: "floyd-steinberg",
    wants: Wants::Coverage,
    searches: false,
    takes: &["raster-order", "as-published", "dot-gain"],
    make: |tone, options, progress| diffuse(Method::FloydSteinberg, tone, options, progress),
};

/// Jarvis, Judice and Ninke 1976.
pub const JARVIS_JUDICE_NINKE: Screen = Screen {
    name: "jarvis-judice-ninke",
    wants: Wants::Coverage,
    searches: false,
    takes: &["raster-order", "as-published", "dot-gain"],
    make: |tone, options, progress| diffuse(Method::JarvisJudiceNinke, tone, options, progress),
};

/// Stucki 1981.
pub const STUCKI: Screen = Screen {
    name: "stucki",
    wants: Wants::Coverage,
    searches: false,
    takes: &["raster-order", "as-published", "dot-gain"],
    make: |tone, options, progress| diffuse(Method::Stucki, tone, options, progress),
};

/// Ostromoukhov 2001.
pub const OSTROMOUKHOV: Screen = Screen {
    name: "ostromoukhov",
    wants: Wants::Coverage,
    searches: false,
    takes: &["raster-order", "as-published", "dot-gain"],
    make: |tone, options, progress| diffuse(Method::Ostromoukhov, tone, options, progress),
};

/// Zhou and Fang 2003.
pub const ZHOU_FANG: Screen = Screen {
    name: "zhou-fang",
    wants: Wants::Coverage,
    searches: false,
    takes: &["raster-order", "as-published", "dot-gain"],
    make: |tone, options, progress| diffuse(Method::ZhouFang, tone, options, progress),
};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Method {
    FloydSteinberg,
    JarvisJudiceNinke,
    Stucki,
    Ostromoukhov,
    ZhouFang,
}

/// Rows between two questions whether to go on.
const STEP: usize = 64;

/// Below this many columns the segments are too short to be worth it.
const LEAST_WIDTH: usize = 256;

fn diffuse(method: Method, tone: &Tone, options: &Options, progress: &dyn Progress) -> Dots {
    #[cfg(target_arch = "x86_64")]
    if let Some(simd) = super::simd::avx2().filter(|_| tone.width() >= LEAST_WIDTH) {
        if method == Method::FloydSteinberg && !options.serpentine {
            return by_wavefront(simd, tone, options, progress);
        }
        return simd.vectorize(Vectored { simd, method, tone, options, progress });
    }
    by_method(Single, method, tone, options, progress)
}

#[cfg(target_arch = "x86_64")]
fn by_wavefront(simd: super::simd::Avx2, tone: &Tone, options: &Options, progress: &dyn Progress) -> Dots {
    type Method = FloydSteinberg;
    progress.expect(tone.height() as u64);
    let mut walk =
        wavefront::Walk { simd, tone, lead: 0, begin: Vec::new(), keep_sides: !options.as_published };
    if !options.as_published {
        walk.lead = startup::LEAD;
        let share = <Method as Rule<Single>>::STARTUP_SHARES.first().copied().unwrap_or_default();
        walk.begin = startup::errors(tone, <Method as Rule<Single>>::STARTUP_SPREAD);
        walk.begin.iter_mut().for_each(|e| *e = (*e as f32 * share) as i32);
    }
    walk.dots(progress)
}

#[cfg(target_arch = "x86_64")]
struct Vectored<'a> {
    simd: super::simd::Avx2,
    method: Method,
    tone: &'a Tone,
    options: &'a Options,
    progress: &'a dyn Progress,
}

#[cfg(target_arch = "x86_64")]
impl pulp::NullaryFnOnce for Vectored<'_> {
    type Output = Dots;

    #[inline(always)]
    fn call(self) -> Dots {
        by_method(lanes::Sixteen(self.simd), self.method, self.tone, self.options, self.progress)
    }
}

#[inline(always)]
fn by_method<S: Lanes>(
    s: S,
    method: Method,
    tone: &Tone,
    options: &Options,
    progress: &dyn Progress,
) -> Dots {
    match method {
        Method::FloydSteinberg => run(s, FloydSteinberg, tone, options, progress),
        Method::JarvisJudiceNinke => run(s, Wide::jarvis_judice_ninke(), tone, options, progress),
        Method::Stucki => run(s, Wide::stucki(), tone, options, progress),
        Method::Ostromoukhov => {
            let segment = Row::<S>::new(tone.width()).segment;
            run(s, Variable::ostromoukhov(segment), tone, options, progress)
        }
        Method::ZhouFang => {
            let segment = Row::<S>::new(tone.width()).segment;
            run(s, zhou_fang::zhou_fang(segment), tone, options, progress)
        }
    }
}

#[inline(always)]
fn run<S: Lanes, R: Rule<S>>(
    s: S,
    mut rule: R,
    tone: &Tone,
    options: &Options,
    progress: &dyn Progress,
) -> Dots {
    let (width, height) = (tone.width(), tone.height());
    let mut dots = Dots::off(width, height);
    if width == 0 || height == 0 {
        return dots;
    }
    progress.expect(height as u64);
    let mut row = Row::<S>::new(width);
    let [mut this, mut above, mut over] = [(); 3].map(|()| Left::<S>::none(row.segment));
    let lead = if options.as_published { 0 } else { startup::LEAD };
    let begin = if lead > 0 { startup::errors(tone, R::STARTUP_SPREAD) } else { Vec::new() };
    for n in 0..lead + height {
        // The rows before the first mirror those after it.
        let y = if n < lead { (lead - 1 - n) % height } else { n - lead };
        if n >= lead && y % STEP == 0 && !progress.step(STEP.min(height - y) as u64) {
            break;
        }
        let turned = options.serpentine;
        let reverse = options.serpentine && (n + lead) % 2 == 1;
        row.see(tone.row(y));
        rule.see(s, &row.tones, row.segment, n);
        row.prepare(s, &rule, [&above, &over], turned, reverse);
        if !options.as_published {
            row.keep_lost(&rule, &above, reverse != turned);
            if let Some(share) = R::STARTUP_SHARES.get(n) {
                row.add(&begin, *share);
            }
        }
        row.walk(s, &rule, &mut this, reverse);
        row.limit::<R>(&mut this, reverse);
        if n >= lead {
            row.pack(dots.row_mut(y));
        }
        row.join::<R>(&mut this);
        (this, above, over) = (over, this, above);
    }
    clear_padding(dots)
}

/// Bits beyond the last column came from the walk past the row's end.
fn clear_padding(mut dots: Dots) -> Dots {
    let width = dots.width();
    if !width.is_multiple_of(8) {
        let keep = 0xFFu8 << (8 - width % 8);
        let stride = dots.stride();
        dots.bits_mut().chunks_exact_mut(stride).for_each(|row| row[stride - 1] &= keep);
    }
    dots
}

#[cfg(test)]
mod tests;
