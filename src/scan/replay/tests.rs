use super::*;

fn play(program: &str) -> Replayed {
    let limits = Limits::default();
    let options = ReplayOptions { picture: Some(200), ..ReplayOptions::new(&limits) };
    replay(program.as_bytes(), &options).unwrap()
}

#[test]
fn a_program_of_any_origin_is_replayed_with_its_comments() {
    let r = play(
        "(blank: rect:20x10mm, margin 1mm)\n(grid: 20 x 8 dots, pitch 0.5 x 0.5 mm, left 2 mm, top 2 mm)\n\
         G21 G90 M3 S0\nG0 X1 Y7.75\nG1 X2.5 F600\nX4 S500\nX13 S0\nM5\nM30\n",
    );
    let dots = r.dots.as_ref().unwrap();
    assert_eq!((dots.width(), dots.height(), r.report.dots_on), (20, 8, Some(3)));
    assert!(dots.get(1, 0) && dots.get(2, 0) && dots.get(3, 0));
    assert_eq!((r.report.burning_mm, r.report.highest_s, r.report.highest_speed), (1.5, 500.0, 10.0));
    assert!(!r.report.power_left_on && r.report.beam_on_outside_blank.count == 0);
    // From the zero to the start by a rapid, in which y goes furthest and sets the pace, then 12 mm at 10 mm/s with both
    // ramps.
    let want = motion::rest_to_rest(7.75, 150.0, 500.0) + 12.0 / 10.0 + 10.0 / 500.0;
    assert!((r.report.seconds - want).abs() < 1e-9, "{} {want}", r.report.seconds);
    assert_eq!(r.report.extents_mm, Some([1.0, 7.75, 13.0, 7.75]));
    assert!(r.plot.is_some());
}

#[test]
fn what_is_dangerous_is_named_with_its_line() {
    let r = play("(blank: rect:20x10mm)\nG21 G90 M3 S500\nG1 X5 F600\nG0 X15\nG4 P2\nG1 X30\nM2\n");
    assert_eq!(r.report.beam_on_in_rapid.lines, [4]);
    assert_eq!(r.report.beam_on_at_rest.lines, [5]);
    assert_eq!((r.report.beam_on_outside_blank.lines, r.report.beam_on_outside_blank.mm), (vec![6], 15.0));
    assert!(r.report.power_left_on);
    let r = play("G21 G90 M3 S500\nG1 X500 F6000\nM5\nM2\n");
    assert_eq!((r.report.off_bed_mm, r.report.power_left_on), (50.0, false));
    let r = play("G21 G90 M3 S1000\nG1 X5 F600\nX6 S1001\nX7 S1002\nX8\nM5\nM2\n").report;
    assert_eq!((r.highest_s, r.full_scale_s, r.over_full_power), (1002.0, 1000, Some(3)));
}

#[test]
fn a_program_for_a_machine_of_another_full_power_says_so() {
    let written_for = |comment: &str| {
        let r = play(&format!("({comment})\nG21 G90 M3 S0\nG1 X1 F600\nX5 S229\nM5 S0\nM2\n")).report;
        (r.written_for_full_scale_s, crate::findings::replay::replayed(&r))
    };
    let (full, found) = written_for("speed 10 mm/s, S 229 of 255, passes 1, run-up 0.257 mm");
    assert_eq!(full, Some(255));
    let weak = found.iter().find(|f| f.name == "other-full-power").unwrap();
    assert!(
        weak.message.contains("S 255, and this machine's is S 1000: it burns at 0.255 times"),
        "{weak:?}"
    );
    for comment in ["speed 10 mm/s, S 229 of 1000, passes 1, run-up 1 mm", "full power is S 1000"] {
        let (full, found) = written_for(comment);
        assert!(full == Some(1000) && found.iter().all(|f| f.name != "other-full-power"), "{found:?}");
    }
    assert_eq!(written_for("job: WATERS of 12 ships").0, None);
    assert_eq!(written_for("full power is S 255").0, Some(255));
}

#[test]
fn a_program_for_another_laser_says_so() {
    let found = |comments: &str, laser: Option<f64>| {
        let limits = Limits::default();
        let options = ReplayOptions { laser: laser.map(Watts), ..ReplayOptions::new(&limits) };
        let program = format!("{comments}\nG21 G90 M3 S0\nG1 X1 F600\nX5 S229\nM5 S0\nM2\n");
        let report = replay(program.as_bytes(), &options).unwrap().report;
        let found = crate::findings::replay::replayed(&report);
        found.into_iter().find(|f| f.name == "other-full-power").map(|f| f.message.to_string())
    };
    let own = "(speed 10 mm/s, S 229 of 1000, passes 1, run-up 1 mm)\n(power 22.9 percent of 5W, assumed)";
    let said = found(own, Some(20.0)).unwrap();
    assert!(
        said.contains("a laser of 5W") && said.contains("has 20W") && said.contains("at 4 times"),
        "{said}"
    );
    assert_eq!((found(own, Some(5.0)), found(own, Some(5.004)), found(own, None)), (None, None, None));
    // Full power by another S word as well: 255 / 1000 of 20 W instead of 5 W.
    let both = own.replace("of 1000", "of 255");
    assert!(found(&both, Some(20.0)).unwrap().contains("at 1.02 times"));
    assert_eq!(found("(job: a)", Some(20.0)), None);
}

#[test]
fn a_beam_that_is_on_where_the_head_is_slow_or_hurries_is_measured() {
    let line = "G21 G90 M3 S0\nG0 X1\nG1 X2 F600\nX4 S500\nX8 S0 F3000\nX9 S500 F600\nX10 S0\nM5\nM2\n";
    let play = |program: &str, plans_ahead| {
        let limits = Limits { plans_ahead, ..Limits::default() };
        replay(program.as_bytes(), &ReplayOptions::new(&limits)).unwrap().report
    };
    let r = play(line, Some(15));
    assert_eq!((r.beam_on_off_speed.count, r.highest_speed), (0, 10.0));
    let gap = motion::hurried(4.0, 10.0, 50.0, 500.0);
    let want = motion::rest_to_rest(1.0, 150.0, 500.0) + 5.0 / 10.0 + 10.0 / 500.0 + gap;
    assert!((r.seconds - want).abs() < 1e-9, "{} {want}", r.seconds);
    // A controller that is not known to plan ahead may stop wherever the feed changes.
    let r = play(line, None);
    assert_eq!((r.beam_on_off_speed.count, r.beam_on_off_speed.lines.as_slice()), (2, &[4, 6][..]));
    // The beam is still on in the gap, which never gets to its feed; a run-up is too short.
    let r = play(&line.replace("X8 S0 F3000", "X8 F3000"), Some(15));
    assert_eq!((r.beam_on_off_speed.lines.as_slice(), r.highest_speed), (&[5][..], 50.0));
    // Exact stops: both marks begin and end at rest, and so does the gap.
    let r = play(&line.replace("G90", "G90 G61.1"), Some(15));
    assert_eq!((r.beam_on_off_speed.lines.as_slice(), r.exact_stops), (&[4, 6][..], Some(1)));
    let stops = |mm, v| motion::rest_to_rest(mm, v, 500.0);
    let want =
        stops(1.0, 150.0) + stops(1.0, 10.0) + stops(2.0, 10.0) + stops(4.0, 50.0) + 2.0 * stops(1.0, 10.0);
    assert!((r.seconds - want).abs() < 1e-9, "{} {want}", r.seconds);
    assert_eq!(
        play(&line.replace("G90", "G90 G61.1 ").replace("G0 X1\n", "G64\nG0 X1\n"), Some(15))
            .beam_on_off_speed
            .count,
        0
    );
    let r = play(&line.replace("G0 X1\n", "G0 X1.99\n"), Some(15));
    assert_eq!(r.beam_on_off_speed.lines, [4]);
}

#[test]
fn inches_and_incremental_moves_are_understood() {
    let r = play("G20 G91 M4 S1\nG1 X1 F60\nG21\nX-5.4\nG90 X0 Y2\nM5\nM2\n");
    assert_eq!(r.report.extents_mm, Some([0.0, 0.0, 25.4, 2.0]));
    assert!((r.report.highest_speed - 25.4).abs() < 1e-12 && r.report.speed_scaled);
}
