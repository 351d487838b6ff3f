//! Judging: what is worth saying of a job, family by family.

use std::sync::Arc;

use super::again::{Again, Source};
use super::alike;
use super::bare_strip::bare_strip;
use super::checked;
use super::layers::Layer;
use super::outcome::Stages;
use super::past_margin::past_margin;
use super::shown::{Meeting, Shown};
use super::wanted::{LayerPicture, Wanted, covered};
use crate::art::reading::{Decision, UNSURE, is_hatched};
use crate::art::{Art, Kind};
use crate::findings::change::Change;
use crate::findings::detail::Detail;
use crate::findings::layers::{AskedAs, How, Spoken};
use crate::findings::machine::Fitting;
use crate::findings::{
    Finding, Severity, art as of_art, burn, detail, faint, inks as of_inks, layers as of_layers,
    lines as of_lines, machine as of_machine, margin, motion, switch, tone,
};
use crate::job::Plan;
use crate::job::asked::LayerJob;
use crate::job::kit::{self, Sort};
use crate::job::settle::{Of, SettledArt, SettledLayer, SettledTone, Shows};
use crate::job::words::DotGain;
use crate::mark::advise;
use crate::placement::{Anchor, DotRect, Place, Placement};
use crate::progress::Progress;
use crate::screen::Wants;
use crate::screen::auto::AUTO;
use crate::screen::remembered::Remembering;
use crate::texts::text;
use crate::tone::shape::LevelStretch;
use crate::units::{Mm, MmPerS};

/// All findings of a job, the most serious first, and with them those that are found before there are dots or beside them:
/// `others`. What would mend them is then tried.
pub(super) fn findings(
    plan: &Plan,
    source: Source<'_>,
    (stages, lost): (&Stages, &Detail),
    others: Vec<Finding>,
    progress: &dyn Progress,
) -> Vec<Finding> {
    let again = Again::new(plan, source, (worst(stages), stages.pace.barred), progress);
    // What mends the job is searched for when it is looked for and once more when it is judged.
    let _remembering = Remembering::begin();
    let mut all = burn_findings(&again, stages, progress);
    all.extend(of_the_job(plan, source, stages, lost));
    all.extend(others);
    all.sort_by_key(|f| std::cmp::Reverse(f.severity));
    checked::check(&again, stages, &mut all);
    all
}

/// Where the burn is at its worst, as shares of the dots' width and height.
fn worst(stages: &Stages) -> (f64, f64) {
    let rect = &stages.placement.rect;
    let (x, y) = stages.sums.as_ref().map_or((0, 0), |s| s.largest.map_or(s.peak_at, |p| p.worst));
    ((x as f64 + 0.5) / rect.columns.max(1) as f64, (y as f64 + 0.5) / rect.rows.max(1) as f64)
}

/// Findings that need no other try of the job.
pub(super) fn of_the_job(plan: &Plan, source: Source<'_>, stages: &Stages, lost: &Detail) -> Vec<Finding> {
    let mut all = match source {
        Source::Shown(shown) => art_findings(plan, shown, stages),
        Source::Dots(_) => Vec::new(),
    };
    let rect = &stages.placement.rect;
    all.extend(detail::detail_below_beam(lost, &plan.burn, rect, &plan.blank));
    all.extend(faint_findings(plan, stages));
    all.extend(tone_findings(plan, stages));
    all.extend(machine_findings(plan, source, stages));
    all
}

/// The name of a finding and how serious it is.
pub(super) type Named = (&'static str, Severity);

/// What is wrong with the burn, without a search for what would mend it.
pub(super) fn of_the_burn(plan: &Plan, stages: &Stages) -> Vec<Named> {
    let Some(sums) = &stages.sums else { return Vec::new() };
    let verdict = burn::Verdict::new(sums, stages.placement.rect.grid.cell_mm2());
    let over = (!verdict.clear()).then(|| ("over-burn", verdict.severity()));
    let under = burn::short_of_full(&plan.burn).filter(|_| sums.dots > 0).map(|f| (f.name, f.severity));
    over.into_iter().chain(under).collect()
}

/// Findings about what is wanted of the art, which are known before there are dots: how it was read and, of layers, where each
/// lies and how they meet.
pub(super) fn of_the_wanted(plan: &Plan, shown: Shown<'_>, wanted: &Wanted) -> Vec<Finding> {
    let art = match shown {
        Shown::Art(art) => art,
        Shown::Layers(layers) => {
            let mut all = of_pictures(plan, layers, wanted);
            all.extend(of_meeting(plan, layers, &wanted.meeting));
            return all;
        }
    };
    let Wanted { reading, around, alike, emptied, .. } = wanted;
    let found = [
        around.and_then(|a| of_art::around(&a, reading.sure >= UNSURE, Of::Art)),
        alike.map(|a| of_inks::inks_alike(&a, Of::Art)),
        // Where nothing is left at all, the dots say so.
        emptied.filter(|share| *share < 0.995).map(|share| faint::emptied(share, Of::Art)),
        picture_within(plan, art, reading),
        tonal(plan, (wanted, &wanted.placement.rect), (reading, &plan.tone), Of::Art),
    ];
    found.into_iter().flatten().collect()
}

/// Findings about each of the pictures among layers, by name where there are several.
fn of_pictures(plan: &Plan, layers: &[Arc<Layer>], wanted: &Wanted) -> Vec<Finding> {
    let mut all = Vec::new();
    let pictures = &wanted.pictures;
    for picture in pictures {
        let (Some(settled), Some(layer)) = (plan.layers.get(picture.layer), layers.get(picture.layer)) else {
            continue;
        };
        let LayerPicture { reading, around, alike, emptied, placement, .. } = picture;
        let unsure = reading.other.filter(|_| reading.sure < UNSURE);
        let found = [
            coarse(plan, &settled.art, (&layer.art.art, reading.kind), placement, settled.of),
            around.and_then(|a| of_art::around(&a, reading.sure >= UNSURE, settled.of)),
            alike.map(|a| of_inks::inks_alike(&a, settled.of)),
            emptied.map(|share| faint::emptied(share, settled.of)),
            unsure.map(|other| of_art::layer_unsure(reading, other, settled.of)),
            picture_within(plan, &layer.art.art, reading),
            tonal(plan, (wanted, &placement.rect), (reading, &settled.tone), settled.of),
        ];
        all.extend(found.into_iter().flatten().map(|f| match pictures.len() {
            1 => f,
            _ => Finding {
                message: f.message.each(|said| text!("pipeline.of-layer", layer = layer.art.name, said)),
                ..f
            },
        }));
    }
    all
}

/// Findings about layers where they meet.
fn of_meeting(plan: &Plan, layers: &[Arc<Layer>], meeting: &Meeting) -> Vec<Finding> {
    let spoken = |i: usize| Some(spoken(plan, i, layers.get(i)?));
    // What is bare, clears a place or runs along an arc belongs where it is: then no places are offered for all.
    let met = |i: usize| meeting.crossing.iter().any(|c| c.upper == i || c.lower.contains(&i));
    let bound = |(i, layer): (usize, &SettledLayer)| {
        let arc = matches!(&layer.shows, Shows::Text(t) if t.arc.is_some());
        layer.bare || arc || (layer.clear.is_some() && !met(i))
    };
    let free = !plan.layers.iter().enumerate().any(bound);
    let movable = plan.layers.iter().enumerate().filter(|(_, l)| !matches!(l.shows, Shows::Border { .. }));
    let movable: Vec<Spoken> = movable.filter_map(|(i, _)| spoken(i)).collect();
    let mut all = Vec::new();
    for c in &meeting.crossing {
        let (Some(upper), Some(lower)) = (spoken(c.upper), c.lower.first().and_then(|&i| spoken(i))) else {
            continue;
        };
        let mut finding = of_layers::crossing(c.how, c.part, &upper, &lower);
        finding = finding.with(of_layers::apart(&plan.blank, free.then_some(&movable)));
        if c.clears_well {
            finding = finding.with(of_layers::cleared(&upper));
        }
        if lower.text && !upper.text && matches!(c.how, How::Covers | How::Clears) {
            finding = finding.with(of_layers::above(&lower, &upper));
        }
        all.push(finding);
    }
    all.extend(meeting.unseen.iter().filter_map(|&i| Some(of_layers::bare_unseen(&layers.get(i)?.art.name))));
    all
}

/// How the layer of that number is spoken of.
fn spoken(plan: &Plan, number: usize, layer: &Layer) -> Spoken {
    let settled = plan.layers.get(number);
    let asked = settled.and_then(|layer| match layer.of {
        Of::Art => None,
        Of::Layer(i) => plan.job.layers.get(i),
    });
    let asked_as = match asked {
        None => AskedAs::Art,
        Some(asked) => match &asked.text {
            Some(text) if LayerJob { text: None, ..asked.clone() } == LayerJob::default() => {
                AskedAs::Text(text.clone())
            }
            _ => AskedAs::Layer,
        },
    };
    let anchor = asked.map_or(plan.job.art.anchor, |a| a.anchor);
    Spoken {
        name: layer.art.name.clone(),
        asked: asked_as,
        anchored: anchor.unwrap_or_default() != Anchor::Middle,
        text: settled.is_some_and(|s| matches!(s.shows, Shows::Text(_))),
    }
}

/// `picture-within` of a drawing that holds a picture, where marks are light: as ink a picture becomes a negative.
fn picture_within(plan: &Plan, art: &Art, reading: &Decision) -> Option<Finding> {
    let r = &plan.burn.response;
    let share =
        art.picture_within().filter(|_| reading.kind == Kind::Drawing && r.y_marked > r.y_unmarked)?;
    of_art::picture_within(share)
}

/// `tonal-drawing` of a picture that lies in `rect`, where marks are light and it is not inverted.
fn tonal(
    plan: &Plan,
    (wanted, rect): (&Wanted, &DotRect),
    (reading, tone): (&Decision, &SettledTone),
    of: Of,
) -> Option<Finding> {
    let r = &plan.burn.response;
    if !reading.kind.is_drawn() || r.y_marked <= r.y_unmarked || tone.shape.tilt.invert {
        return None;
    }
    let all = &wanted.placement.rect;
    let pitch = (all.grid.along.0, all.grid.across.0);
    is_hatched(&wanted.tone, covered(all, rect), pitch).then(|| of_art::tonal_drawing(of))
}

/// Findings about the art.
fn art_findings(plan: &Plan, shown: Shown<'_>, stages: &Stages) -> Vec<Finding> {
    let p = &stages.placement;
    let mut all: Vec<Finding> = of_art::changed(&plan.changed).into_iter().collect();
    let layered = matches!(shown, Shown::Layers(_));
    for (i, lettering) in shown.arts().enumerate().filter_map(|(i, art)| Some((i, art.lettering()?))) {
        let typed = layered && plan.layers.get(i).is_some_and(|l| matches!(l.shows, Shows::Text(_)));
        all.extend(of_art::missing_glyph(&lettering.missing, typed));
        all.extend(lettering.past_page.map(of_art::cut_by_page));
        all.extend(lettering.flowed.then(of_art::flowed_text));
    }
    // What is past the margin by the size or the place that was asked for is told so.
    let past = stages.left_out.each.iter().any(|beyond| beyond.past.0 > 0.0);
    if p.past_margin.0 <= 0.0 || !past {
        let (inside, of) = match shown {
            Shown::Art(_) => (plan.art.place == Place::Inside, Some(Of::Art)),
            Shown::Layers(_) => cut_layers(plan, stages),
        };
        all.extend(of_art::cut_by_blank(stages.left_out.share, inside, of));
    }
    let kind = stages.kind.unwrap_or(Kind::Photo);
    all.extend(shown.alone().and_then(|art| coarse(plan, &plan.art, (art, kind), p, Of::Art)));
    all
}

/// Whether all layers of which something is left out are as large as fits, and which one it is where it is one alone.
fn cut_layers(plan: &Plan, stages: &Stages) -> (bool, Option<Of>) {
    let each = plan.layers.iter().zip(&stages.left_out.each);
    let cut: Vec<&SettledLayer> = each
        .filter(|(layer, beyond)| beyond.share > 0.0 && !matches!(layer.shows, Shows::Border { .. }))
        .map(|(layer, _)| layer)
        .collect();
    let inside = cut.iter().all(|layer| layer.art.place == Place::Inside);
    (inside, (cut.len() == 1).then(|| cut[0].of))
}

/// `coarse-art` of a picture that lies as it is `settled` and is read as a `kind`.
fn coarse(
    plan: &Plan,
    settled: &SettledArt,
    (art, kind): (&Art, Kind),
    p: &Placement,
    of: Of,
) -> Option<Finding> {
    let (w, h) = art.pixels()?;
    let crop = settled.crop.window();
    let whole = (w as f64 * h as f64).max(1.0);
    let (mut w, mut h) = (w as f64 * crop.width(), h as f64 * crop.height());
    if settled.turn.swaps() {
        std::mem::swap(&mut w, &mut h);
    }
    let shown = (w * p.window.width(), h * p.window.height());
    // What is less by a pixel or two is all of it to anybody.
    let part = shown.0 * shown.1 < 0.98 * whole;
    let rect = &p.rect;
    let coarser = |pitch: Mm| {
        // Whole motor steps, and lines that do not show.
        let steps_per_mm = plan.machine.axes(plan.process.lines).1.steps_per_mm;
        let known = steps_per_mm.is_finite() && steps_per_mm > 0.0;
        let whole = if known { Mm((pitch.0 * steps_per_mm - 1e-6).ceil() / steps_per_mm) } else { pitch };
        let with = plan.with(Change::Pitch(whole)).ok()?;
        advise::lines_apart(&with.burn).is_none().then_some(whole)
    };
    // Dots may lie closer along the lines than the lines lie: what the art must fill is squares of the wider pitch.
    let square = rect.grid.along.0.max(rect.grid.across.0);
    let squares = ((rect.width() / square).round() as usize, (rect.height() / square).round() as usize);
    let sharp = kind == Kind::Drawing
        && matches!(art, Art::Raster(raster) if raster.facts.bilevel && raster.alpha.is_none());
    let shown = of_art::ShownPixels { pixels: shown, part, sharp, of };
    of_art::coarse_art(shown, squares, (Mm(rect.width()), Mm(rect.height())), coarser)
}

/// Whether the piece will show anything; dots that came from elsewhere may be strokes or tones, so the milder rule
/// holds for them.
fn faint_findings(plan: &Plan, stages: &Stages) -> Option<Finding> {
    let photo = stages.kind == Some(Kind::Photo);
    if stages.dots.count() == 0 {
        return Some(faint::nothing(inverted(plan).filter(|_| !photo)));
    }
    let (rect, look) = (&stages.placement.rect, &stages.look);
    let (along, across) = (look.step_along, look.step_across);
    let allowed = |row: f64| {
        let y = ((row * across) as usize).min(rect.rows.saturating_sub(1));
        let columns = rect.allowed(&plan.blank, y);
        (columns.start as f64 / along, columns.end as f64 / along)
    };
    let bare = plan.burn.response.y_unmarked;
    if photo {
        let sample = (along * rect.grid.along.0).max(across * rect.grid.across.0);
        let places = faint::places(&look.luminance, look.columns, sample, allowed);
        let found = faint::of_tones(&places, bare);
        // Layers have levels of their own each, and what is stretched to its ends already has no more to give.
        let stretched = matches!(plan.tone.shape.levels, LevelStretch::Auto { .. });
        if stretched || !plan.layers.is_empty() { found } else { found.map(faint::stretched) }
    } else {
        faint::of_strokes(&look.luminance, bare)
    }
}

/// The piece's art or the lowest of its layers that is inverted.
fn inverted(plan: &Plan) -> Option<Of> {
    match plan.layers.as_slice() {
        [] => plan.tone.shape.tilt.invert.then_some(Of::Art),
        layers => layers.iter().find(|layer| layer.tone.shape.tilt.invert).map(|layer| layer.of),
    }
}

/// Whether the dots keep the tones, where nothing else is wrong with the burn: char takes the mark away again.
fn tone_findings(plan: &Plan, stages: &Stages) -> Option<Finding> {
    let clear = of_the_burn(plan, stages).is_empty();
    let wanted = stages.mean_reachable.filter(|_| clear)?;
    let screen = plan.dots.screen;
    let with = match &plan.tone.dot_gain {
        DotGain::Off if screen.wants == Wants::Coverage => tone::MadeWith::Nothing,
        DotGain::File(_) if screen.wants == Wants::Coverage => tone::MadeWith::File,
        DotGain::Forecast if plan.measured_curve(screen.name).is_some() => tone::MadeWith::Wedge,
        _ if screen.name == AUTO.name => tone::MadeWith::Best,
        _ => tone::MadeWith::Forecast,
    };
    let response = &plan.burn.response;
    tone::shift(wanted, stages.totals.mean_mark, (response.y_unmarked, response.y_marked), with)
}

/// Findings about place, lines, motion and machine.
fn machine_findings(plan: &Plan, source: Source<'_>, stages: &Stages) -> Vec<Finding> {
    let mut all = Vec::new();
    let p = &stages.placement;
    let process = &plan.process;
    let beam = process.beam.value;
    let radius = Mm(beam.along.0.max(beam.across.0) / 2.0);
    let motion_of = &plan.machine.motion;
    let tolerance = motion_of.placement_tolerance;
    all.extend(
        past_margin(plan, source, stages)
            .or_else(|| margin::narrow_margin(plan.blank.margin, tolerance, radius)),
    );
    all.extend(bare_strip(plan, source, &stages.left_out.each, p));
    let setting = process.setting();
    let steps_per_mm = plan.machine.axes(setting.lines).1.steps_per_mm;
    let (_, across) = setting.lines.swap((p.rect.width(), p.rect.height()));
    all.extend(line_findings(plan));
    all.extend(of_machine::step_beat(setting.pitch_across, steps_per_mm, Mm(across)));
    let scan = &stages.program;
    let marking = scan.marking(&stages.dots);
    let moving = motion::all(&scan.raster, marking, &scan.written);
    let switching = switch::slow(&scan.raster, marking, &plan.machine.laser, &scan.written.estimate);
    let all_moving = moving.into_iter().chain(switching);
    all.extend(all_moving.map(|f| alike::whole_pitch(plan, alike::told(plan, f))));
    let least = plan.coating.start.least_power;
    let laser = process.rated_power.value;
    all.extend(of_machine::weak_laser(laser, least, plan.coating.called()));
    if let Some(takes) = taken(plan) {
        let of = plan.surface.to_string();
        let its_own = kit::surface_for(&plan.coating).ok().flatten();
        let mismatch = of_machine::coating_mismatch(&plan.coating.name, &of, &takes, laser);
        all.extend(mismatch.map(|f| its_own.into_iter().fold(f, of_machine::or_of_surface)));
    }
    all.extend(of_the_process(plan));
    all.extend(of_machine::assumed(&process.assumed(), &plan.wedge()));
    all
}

/// What is to be said of the process file before anything is drawn.
pub fn of_the_process(plan: &Plan) -> impl Iterator<Item = Finding> {
    let (machine, coating) = (plan.machine.name.as_str(), plan.coating.name.as_str());
    let stated = plan.measured.as_ref();
    let power = plan.machine.laser.power;
    let of_laser = stated.filter(|m| !m.of_other_machine(machine)).and_then(|m| m.of_other_laser(power));
    let laser = of_laser.map(|then| of_machine::process_of_other_laser(then, power, kit::spoken(machine)));
    let others = stated.filter(|m| of_laser.is_none() && m.is_of_others(machine, coating));
    let elsewhere = others.map(|m| {
        of_machine::process_elsewhere(
            m.of_other_machine(machine),
            (kit::spoken(&m.machine), kit::spoken(machine)),
            (kit::spoken(&m.coating), kit::spoken(coating)),
        )
    });
    let doubted = stated.and_then(|m| of_machine::process_doubted(&m.doubt));
    laser.into_iter().chain(elsewhere).chain(doubted)
}

/// What is to be said of the lines before anything is drawn.
fn line_findings(plan: &Plan) -> impl Iterator<Item = Finding> {
    let process = &plan.process;
    let (beam, setting, response) = (process.beam.value, process.setting(), process.response());
    let steps_per_mm = plan.machine.axes(setting.lines).1.steps_per_mm;
    let apart = of_lines::apart(beam, &setting, &response, steps_per_mm);
    apart.into_iter().chain(of_lines::crowded(beam, setting.pitch_across, steps_per_mm))
}

/// What is to be said of the lines of a plan whose art lies so, and of how far a solid on them is marked, without a search for
/// what would mend it.
pub fn of_the_lines(plan: &Plan, placement: &Placement) -> Vec<Finding> {
    let setting = plan.process.setting();
    let steps_per_mm = plan.machine.axes(setting.lines).1.steps_per_mm;
    let (_, across) = setting.lines.swap((placement.rect.width(), placement.rect.height()));
    let beat = of_machine::step_beat(setting.pitch_across, steps_per_mm, Mm(across));
    line_findings(plan).chain(beat).chain(burn::short_of_full(&plan.burn)).collect()
}

/// What is wrong with a job as far as its plan shows it, before anything is drawn.
pub(super) fn of_the_plan(plan: &Plan) -> Vec<Named> {
    line_findings(plan).chain(burn::short_of_full(&plan.burn)).map(|f| (f.name, f.severity)).collect()
}

/// The coatings that the blank takes; `None` where that cannot be judged, because the coating or one that the blank
/// takes is the maker's own.
fn taken(plan: &Plan) -> Option<Vec<Fitting>> {
    kit::coating_called(&plan.coating.name).ok()??;
    let one = |id: &String| {
        kit::entry(Sort::Coating, id)?;
        let c = kit::coating(id).ok()?;
        Some(Fitting { id: id.clone(), name: c.name, least: c.start.least_power })
    };
    plan.coatings.iter().map(one).collect()
}

/// Findings from the forecast; what would mend them is tried on the job carried through again.
fn burn_findings(again: &Again<'_>, stages: &Stages, progress: &dyn Progress) -> Vec<Finding> {
    let Some(sums) = &stages.sums else { return Vec::new() };
    let plan = again.plan;
    let process = &plan.process;
    let (along, across) = plan.machine.axes(process.lines);
    let case = burn::Case {
        dots: &stages.dots,
        rect: &stages.placement.rect,
        blank: &plan.blank,
        beam: process.beam.value,
        setting: process.setting(),
        response: process.response(),
        rated_power: process.rated_power.value,
        top_speed: MmPerS(along.top_speed),
        steps_per_mm: across.steps_per_mm,
        remake: &|change| again.with(change),
        progress,
    };
    [burn::over_burn(&case, sums), burn::under_burn(&case, sums)].into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::encode::png;
    use crate::job::Job;
    use crate::job::asked::{BlankJob, Reference};
    use crate::mark::advise;
    use crate::progress::Silent;
    use crate::{art, pipeline};

    fn job(machine: &str, blank: &str, coating: Option<&str>) -> Job {
        let b = kit::blank(blank).unwrap();
        Job {
            machine: Some(Reference::Name(machine.into())),
            coating: coating.map(|c| Reference::Name(c.into())),
            blank: BlankJob {
                // As small as holds the art, so that little is drawn.
                shape: format!("rect:{0}x{0}mm", 8.0 + 2.0 * b.margin.0).parse().ok(),
                margin: Some(b.margin),
                surface: Some(b.surface),
                coatings: Some(b.coatings),
                place: Some("8x8mm".parse().unwrap()),
            },
            ..Job::default()
        }
    }

    /// Every machine of the kit with every blank and each coating that it takes and the machine can mark.
    fn sensible() -> Vec<(Job, String)> {
        let mut all = Vec::new();
        let of = |sort| kit::ENTRIES.iter().filter(move |e| e.sort == sort);
        for m in of(Sort::Machine) {
            let laser = kit::machine(m.id).unwrap().laser.power;
            for b in of(Sort::Blank) {
                for c in kit::blank(b.id).unwrap().coatings {
                    if kit::coating(&c).unwrap().start.least_power.0 <= laser.0 {
                        all.push((job(m.id, b.id, Some(&c)), format!("{} {} {c}", m.id, b.id)));
                    }
                }
            }
        }
        all
    }

    #[test]
    fn what_the_kit_offers_together_gives_no_caution_from_its_own_start() {
        // A solid, a stroke of 1 mm and paper.
        let svg = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 8 8"><rect width="4" height="8"/><rect x="5.5" width="1" height="8"/></svg>"#;
        let art = art::open(svg, "'bars.svg'").unwrap();
        let all = sensible();
        assert!(all.len() > 30, "{}", all.len());
        for (job, what) in all {
            let plan = Plan::of(&job).unwrap();
            let outcome = pipeline::run(&plan, &art, "bars.svg", &Silent).unwrap();
            let said: Vec<&str> =
                outcome.findings.iter().filter(|f| f.name != "assumed").map(|f| &*f.message).collect();
            assert!(said.is_empty(), "{what}: {said:?}");
        }
    }

    #[test]
    fn advice_and_job_start_from_the_same_pitch_and_speed() {
        for (job, what) in sensible() {
            let plan = Plan::of(&job).unwrap();
            let question = plan.question((None, None), (Mm(85.0), Mm(85.0)));
            let list = advise::pitches(&question, &|pitch| plan.start_at(pitch));
            let best = list.iter().find(|a| a.recommended).unwrap();
            assert!((best.pitch.0 - plan.grid.across.0).abs() < 1e-12, "{what}");
            assert_eq!(best.speed, plan.process.speed.value, "{what}");
            // So it is at every other pitch that the advice lists.
            for a in list.iter().step_by(3) {
                let mut asked = job.clone();
                asked.dots.pitch = crate::units::Pitch::from_mm(a.pitch.0);
                assert_eq!(a.speed, Plan::of(&asked).unwrap().process.speed.value, "{what} at {}", a.pitch);
            }
        }
    }

    #[test]
    fn the_coating_follows_the_blank_and_another_is_found() {
        for (blank, coating) in [
            ("slate-coaster-100", "bare slate"),
            ("metal-tag-60", "black anodised aluminium"),
            ("steel-tag-60", "dry-film moly"),
            ("ceramic-tile-108", "dry-film moly"),
            ("glass-coaster-90", "poster paint"),
        ] {
            let plan = Plan::of(&job("diode-5w", blank, None)).unwrap();
            assert_eq!(plan.coating.name, coating, "{blank}");
            let said = plan.assumptions.iter().map(|n| &*n.says).collect::<Vec<_>>().join("; ");
            assert!(said.contains(&format!("the coating is {coating}, the usual one on")), "{said}");
        }
        let wrong = |coating| {
            let plan = Plan::of(&job("diode-5w", "metal-tag-60", Some(coating))).unwrap();
            let takes = taken(&plan).unwrap();
            of_machine::coating_mismatch(&plan.coating.name, "metal", &takes, plan.process.rated_power.value)
        };
        for coating in ["poster-paint", "dry-film-moly", "bare-slate"] {
            let text = &wrong(coating).unwrap().remedies[0].text;
            assert!(text.contains("--coating black-anodised-aluminium"), "{text}");
        }
        assert!(wrong("black-anodised-aluminium").is_none());
        // A maker's own paint is taken at their word.
        let mut own = kit::coating("poster-paint").unwrap();
        own.name = "harbour black".into();
        let own = Some(Reference::Whole(Box::new(own)));
        let plan = Plan::of(&Job { coating: own, ..job("diode-5w", "metal-tag-60", None) }).unwrap();
        assert!(taken(&plan).is_none());
    }

    #[test]
    fn an_even_photo_is_told_to_spread_its_tones_where_that_helps() {
        let remedies = |apart: usize, levels: &str| {
            let shade = |i: usize| (118 + (i % 96 / 8 + i / 96 / 8) * apart / 22) as u8;
            let data: Vec<u8> = (0..96 * 96).map(shade).collect();
            let png = png::picture(96, 96, png::Samples::Grey, &data, None).unwrap();
            let job = format!(
                "blank = {{ shape = 'rect:14x14mm', margin = '1mm' }}\nart = {{ read_as = 'photo' }}\ntone = {{ levels = '{levels}' }}"
            );
            let plan = Plan::of(&job.parse::<Job>().unwrap()).unwrap();
            let outcome =
                pipeline::run(&plan, &art::open(&png, "'f.png'").unwrap(), "f.png", &Silent).unwrap();
            let found = outcome.findings.into_iter().find(|f| f.name == "faint");
            found.map(|f| {
                f.remedies.into_iter().map(|r| (r.verified, r.text.to_string(), r.sets)).collect::<Vec<_>>()
            })
        };
        let spread = "spread its tones from black to white (--levels auto:0.5%)".to_string();
        let sets = vec![("tone.levels".to_string(), "auto:0.5%".to_string())];
        assert_eq!(remedies(12, "off"), Some(vec![(true, spread, sets)]));
        assert_eq!(remedies(0, "off"), Some(Vec::new()));
        assert_eq!(remedies(12, "auto:0.5%"), None);
    }
}
