use super::*;

/// Reads a whole program.
fn read(input: impl BufRead, hear: impl FnMut(Event<'_>)) -> Result<Ending, ReadError> {
    let mut reader = Reader::on(AxisWords::of(&Limits::default()), hear);
    pieces(input, |piece| reader.push(piece))?;
    reader.finish().map(|(ending, _)| ending)
}

fn moves(program: &str) -> Result<Vec<Move>, String> {
    let mut out = Vec::new();
    read(program.as_bytes(), |e| {
        if let Event::Move(m) = e {
            out.push(m);
        }
    })
    .map(|_| out)
    .map_err(|e| e.to_string())
}

fn fails(program: &str, said: &str) {
    let e = moves(program).unwrap_err();
    assert!(e.contains(said), "{program}: {e}");
}

#[test]
fn blanks_and_case_do_not_matter() {
    // check value G08 (NISTIR 6556, section 3.3): "g0x +0. 12 34y 7" is "g0 x+0.1234 y7".
    let m = moves("g0x +0. 12 34y 7\n\n  \nm2\n").unwrap();
    assert_eq!((m.len(), m[0].to, m[0].rapid), (1, (0.1234, 7.0), true));
}

#[test]
fn numbers_are_plain_decimals() {
    // check value G04 (section 3.3.2.1).
    for (n, v) in [(".5", 0.5), ("0.", 0.0), ("-.5", -0.5), ("+1", 1.0), ("007.250", 7.25), ("1", 1.0)] {
        assert_eq!(moves(&format!("G0X{n}\nM2")).unwrap()[0].to.0, v, "{n}");
    }
    for bad in ["", ".", "-", "1.2.3", "--1", "1-2", "1234567890123456789"] {
        assert!(moves(&format!("G0X{bad}\nM2")).is_err(), "{bad}");
    }
    // An exponent reads as a word E, which the standard does not have.
    let mut odd = Vec::new();
    let e = read("G0 X1e5\nM2".as_bytes(), |_| {}).map(|e| odd = e.odd);
    assert!(e.is_ok() && odd[0].word == "e5" && odd[0].line == 1);
}

#[test]
fn words_act_in_the_standards_order_not_in_theirs() {
    // check value G09 (section 3.8): S and M3 act before the move on their line, M2 after it.
    let m = moves("G1 X1 F60 S5 M3\nX2 M5 S7\nM3 X3\nM2 X4").unwrap();
    let powers: Vec<f64> = m.iter().map(|m| m.power).collect();
    assert_eq!(powers, [5.0, 0.0, 7.0, 7.0]);
    assert_eq!(m[3].to.0, 4.0);
}

#[test]
fn two_words_of_a_group_or_a_letter_are_refused() {
    // check values G02, G03 (sections 3.3.5, 3.4): G-7 and M-7 are different groups.
    fails("G0 G1 X1\nM2", "line 1: G1 and another word of its modal group");
    fails("G20 G21\nM2", "modal group");
    fails("M3 M5\nM2", "modal group");
    fails("G0 X1 X2\nM2", "X stands twice");
    fails("G0 X1 S1 S1\nM2", "S stands twice");
    fails("M3 M7 M8 M48 M6\nM2", "more than four M words");
    assert!(moves("G40 M3 G90 G21 G17 G94\nM2").is_ok());
}

#[test]
fn line_numbers_stand_first_and_are_short() {
    // check value G05 (section 3.3.1): N is 0 to 99999 in at most five digits; it may repeat.
    assert!(
        moves(
            "N1 G0 X1
N1 X2
N 99999 X3
/N5 X4
n0 M2"
        )
        .is_ok()
    );
    for bad in ["N000009 X1", "N100000 X1", "G0 N1 X1", "N1 N2 X1", "N-1 X1", "N1.5 X1"] {
        fails(&format!("G0 X0\n{bad}\nM2"), "line 2: the N word");
    }
}

#[test]
fn comments_are_in_parentheses_that_close_and_never_nest() {
    // check value G06 (section 3.3.4); a semicolon comment is not in the report.
    let mut heard = Vec::new();
    let end = read("G0 (one) X1 (two)\nX2 ; three\n$H\nM2".as_bytes(), |e| {
        if let Event::Comment(c) = e {
            heard.push(c.to_string());
        }
    })
    .unwrap();
    assert_eq!(heard, ["one", "two"]);
    let odd: Vec<_> = end.odd.iter().map(|o| (o.line, o.word.as_str())).collect();
    assert_eq!(odd, [(2, "; three"), (3, "$H")]);
    fails("(open\nM2", "not closed");
    fails("(a (b) c)\nM2", "nested");
    fails("G0 X1)\nM2", "unpaired");
}

#[test]
fn a_program_has_its_end() {
    // check values G07, G12 (sections 3.1, 3.6.1).
    assert!(moves("\n%\nG0X1\n%\nthis is not read").is_ok());
    assert!(moves("%\nG0X1\nM2\nG1 X9\n%\n").is_ok_and(|m| m.len() == 1));
    assert!(moves("G0X1\nM30").is_ok());
    fails("%\nG0X1\nM2\n", "without its closing %");
    fails("G0X1\nX2", "line 2 without M2 or M30: it is cut off");
    fails("", "without M2");
    fails("G0X1\n%\nM2", "line 2: a line of %");
}

#[test]
fn what_is_no_raster_is_refused_by_name() {
    for (text, said) in [
        ("G2 X1 I1", "line 1: G2: arcs are not raster moves"),
        ("G03 X1 R1", "G3: arcs are not raster moves"),
        ("G0 X1 I2", "I: arcs"),
        ("G38.2 X1", "probe"),
        ("G81 X1", "drilling"),
        ("G92 X0", "changes of the coordinates"),
        ("G93", "inverse time"),
        ("G0 A5", "A: rotary"),
        ("G0 X#1", "parameters and expressions"),
        ("G0 X[1+2]", "parameters and expressions"),
        ("#1=2", "parameters and expressions"),
    ] {
        fails(&format!("{text}\nM2"), said);
    }
}

#[test]
fn faults_carry_their_line_and_word() {
    // check values G01, G10, G14 (sections 3.3, 3.6.2, 3.5.1).
    fails(&format!("G0X1\n({})\nM2", "a".repeat(255)), "line 2: the line has 257 characters");
    assert!(moves(&format!("({})\nM2", "a".repeat(254))).is_ok());
    fails(&"x".repeat(100_000), "line 1: the line has");
    fails("M3 S-1\nM2", "S-1 is negative");
    fails("G0\nM2", "without an X, Y or Z");
    fails("X1\nM2", "before any G0 or G1");
    fails("G80\nX1\nM2", "before any G0 or G1");
    fails("G1 X1\nM2", "before any F");
    fails("G4\nM2", "without a P word");
    fails("G0 X100001\nM2", "X100001 is out of range");
    fails("G1 X1 F-5\nM2", "F-5 is out of range");
    fails("hello\nM2", "H has no number after it: this is not an RS-274 program");
    fails("\u{89}PNG", "not ASCII text");
    fails("!\nM2", "'!' starts no word");
    let mut bytes = &b"G0X1\n\xFF\xD8\nM2"[..];
    assert!(read(&mut bytes, |_| {}).unwrap_err().to_string().contains("byte 0xFF is not ASCII"));
}

#[test]
fn chunks_of_any_size_give_the_same_moves() {
    let program =
        "(a comment)\r\nG21 G90 M3 S0\r\nG0 X1.5 Y2\r\nG1 X10 S500 F600\r\nX20 S0\r\nM5 S0\r\nM2\r\n";
    let want = moves(program).unwrap();
    for size in 1..40 {
        let mut got = Vec::new();
        let input = std::io::BufReader::with_capacity(size, program.as_bytes());
        let end = read(input, |e| {
            if let Event::Move(m) = e {
                got.push(m);
            }
        })
        .unwrap();
        assert_eq!((got, end.bytes, end.lines), (want.clone(), program.len() as u64, 7), "{size}");
    }
}

#[test]
fn power_left_on_is_seen_before_the_end_takes_it_away() {
    // check value G12: M2 stops the spindle, so the state just before it counts.
    let left = |p: &str| read(p.as_bytes(), |_| {}).unwrap().power_left_on;
    assert!(left("M3 S5\nM2") && left("M3 S5\nG1 X1 F5 M2") && left("%\nM4 S1\n%"));
    assert!(!left("M3 S0\nM2") && !left("M3 S5\nM5 M2") && !left("S5\nM2"));
}
