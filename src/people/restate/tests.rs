use super::*;

const INCH: Units = Units {
    length: LengthUnit::Inch,
    temperature: TemperatureUnit::Fahrenheit,
    pressure: PressureUnit::Psi,
};

/// By hand from 1 in = 25.4 mm, degF = 1.8 degC + 32, 1 psi = 0.0689476 bar.
#[test]
fn every_figure_with_a_unit_of_a_sentence_is_said_in_a_persons_units() {
    for (text, wanted) in [
        ("torch at 573.2 mm toward the tail", "torch at 22.567 in toward the tail"),
        ("within 5 mm.", "within 0.20 in."),
        ("-3 mm", "-0.12 in"),
        ("\u{2212}3 mm", "\u{2212}0.12 in"),
        ("+3 mm", "+0.12 in"),
        ("\u{b1}0.5 mm", "\u{b1}0.020 in"),
        ("2.00 \u{2192} 2.10 mm \u{b1} 0.05 mm", "0.0787 \u{2192} 0.0827 in \u{b1} 0.0020 in"),
        ("84.95 to 234.95 mm", "3.3445 to 9.2500 in"),
        ("-5 to 12.5 mm", "-0.197 to 0.492 in"),
        ("3-5 mm, 3\u{2013}5 mm", "0.12-0.20 in, 0.12\u{2013}0.20 in"),
        ("100 mm to 920 mm, the travel", "3.94 in to 36.22 in, the travel"),
        ("between 20 and 1200 degC", "between 68 and 2192 \u{b0}F"),
        ("zones 1 and 20 mm", "zones 1 and 0.79 in"),
        ("band 2 of 3, 0 to 120 mm", "band 2 of 3, 0.00 to 4.72 in"),
        ("1.2 mm/turn, 1.2 mm/rev", "0.047 in/turn, 0.047 in/rev"),
        ("20 m/min", "66 ft/min"),
        ("10.4 mm/s, expected 625 mm/min", "24.6 in/min, expected 24.61 in/min"),
        ("250 mm/s2", "9.84 in/s2"),
        ("12 um of 1.1 mm", "0.00047 in of 0.043 in"),
        ("a hose of 3 m", "a hose of 10 ft"),
        ("1050 degC", "1922 \u{b0}F"),
        ("1050 \u{b0}C", "1922 \u{b0}F"),
        ("1050\u{b0}C", "1922\u{b0}F"),
        ("\u{b1}5 degC", "\u{b1}9 \u{b0}F"),
        ("at most 1204 degC: 50 K below", "at most 2199 \u{b0}F: 90 delta_degF below"),
        ("2.5 bar (read 0.000 s ago)", "36 psi (read 0.000 s ago)"),
        ("0.31 bar, 900 mbar", "4.5 psi, 13.05 psi"),
        ("-0.001 mm", "-0.00004 in"),
        ("-0.0 mm", "0.000 in"),
    ] {
        assert_eq!(INCH.restate(text), wanted);
    }
}

#[test]
fn what_a_persons_choice_does_not_govern_stays_as_it_was() {
    for text in [
        "",
        "pass 3 of 9",
        "127.3 rpm, 5 s, 60 g/min, 2 kg/h, 5 %, 4.00 mA, 12 V, 30 K/s, 9 W/m2K, 7.8 g/cm3",
        "the field takes `5 mm` or \"2.5 bar\" in a file",
        "run 2026-11-29T14-03-12, r12, 0x12 ends",
        "mm, bar and degC are units",
        "3 to 5 passes, 1:20 min, 1.2.3 mm",
        "zone5 mm, z_5 mm, 1e308 mm, 5 mmHg, 5 millimetres, 5 K2",
        "5  mm",
        "inf mm",
        "2 in, 482 \u{b0}F, 36 psi, 54 delta_degF, 66 ft/min",
    ] {
        assert_eq!(INCH.restate(text), text);
        assert!(matches!(INCH.restate(text), Cow::Borrowed(_)), "{text}");
    }
    assert_eq!(INCH.restate("`5 mm` is 5 mm"), "`5 mm` is 0.20 in");
    let shown = "error: part: 1 mm is thin\n --> r.toml:9:31\n  |\n9 | at = '0 mm' # 3 mm\n  = at least 5 mm";
    let wanted = "error: part: 0.04 in is thin\n --> r.toml:9:31\n  |\n9 | at = '0 mm' # 3 mm\n  = at least 0.20 in";
    assert_eq!(INCH.restate(shown), wanted);
    assert_eq!(INCH.restate("a \" alone, 5 mm"), "a \" alone, 0.20 in");
}

#[test]
fn each_choice_governs_its_own_units_alone() {
    let text = "5 mm at 100 degC, 10 K, 2.0 bar";
    let metric = Units::default();
    assert_eq!(metric.restate(text), "5 mm at 100 \u{b0}C, 10 K, 2.0 bar", "but for the sign");
    assert!(matches!(metric.restate("5 mm, 10 K"), Cow::Borrowed("5 mm, 10 K")));
    for (units, wanted) in [
        (Units { length: LengthUnit::Inch, ..metric }, "0.20 in at 100 \u{b0}C, 10 K, 2.0 bar"),
        (
            Units { temperature: TemperatureUnit::Fahrenheit, ..metric },
            "5 mm at 212 \u{b0}F, 18 delta_degF, 2.0 bar",
        ),
        (Units { pressure: PressureUnit::Psi, ..metric }, "5 mm at 100 \u{b0}C, 10 K, 29 psi"),
    ] {
        assert_eq!(units.restate(text), wanted);
    }
}

/// Back from what was said, by the quantity's own reader.
fn back(kind: usize, text: &str) -> Result<f64, String> {
    let read = match kind {
        0 => Length::parse(text).map(|it| it.mm()),
        1 => Speed::parse(text).map(|it| it.mm_per_s()),
        2 => Temperature::parse(text).map(|it| it.celsius()),
        3 => TemperatureStep::parse(text).map(|it| it.kelvin()),
        4 => Pressure::parse(text).map(|it| it.bar()),
        _ => Pitch::parse(text).map(|it| it.mm_per_turn()),
    };
    read.map_err(|problem| problem.to_string())
}

/// Nothing is lost beyond the last figure that was written, and no more than one figure is added.
#[test]
fn any_figure_in_any_sentence_survives_the_way_there_and_back() {
    const UNITS: [&str; 6] = ["mm", "mm/s", "degC", "K", "bar", "mm/turn"];
    const BEFORE: [&str; 5] = ["", "pass 3 of 9, ", "(", "\u{2300} ", "`1 mm` is not "];
    const AFTER: [&str; 5] = ["", ", then 5 s", ") \u{2013} \u{b5}", ".", "; accepted: `2 bar`"];
    let mut random = fastrand::Rng::with_seed(20_261_129);
    for _ in 0..20_000 {
        let kind = random.usize(0..UNITS.len());
        let places = random.usize(0..5);
        let size = 10_f64.powf(random.f64() * 6.0 - 3.0);
        let figure = fixed(if random.bool() { size } else { -size }, places);
        let (before, after) = (BEFORE[random.usize(0..5)], AFTER[random.usize(0..5)]);
        let text = format!("{before}{figure} {}{after}", UNITS[kind]);
        let said = INCH.restate(&text).into_owned();
        assert_eq!(INCH.restate(&said), said, "once said it stays");
        let inside = said.strip_prefix(before).and_then(|said| said.strip_suffix(after));
        let inside = inside.unwrap_or_else(|| panic!("{text}: {said}"));
        let (found, written) = (back(kind, inside).expect(inside), figure.parse::<f64>().unwrap());
        let last = 0.1_f64.powi(i32::try_from(places).unwrap());
        assert!((found - written).abs() <= 0.5 * last + 1e-9, "{text}: {said}");
        let digits = |text: &str| text.bytes().filter(u8::is_ascii_digit).count();
        assert!(digits(inside) <= digits(&figure) + 2, "{text}: {said}");
    }
}

/// Whatever comes, nothing breaks, and what has no figure with a unit is left.
#[test]
fn any_text_at_all_is_taken() {
    const BITS: [&str; 22] = [
        "5",
        "-",
        "\u{2212}",
        "\u{b1}",
        ".",
        " ",
        "mm",
        "bar",
        "degC",
        " to ",
        "\"",
        "`",
        "\u{e9}",
        "\u{1f525}",
        "K",
        "..",
        "between ",
        " and ",
        "\u{a0}",
        "\n",
        "e",
        "/",
    ];
    let mut random = fastrand::Rng::with_seed(7);
    for _ in 0..50_000 {
        let text: String = (0..random.usize(0..14)).map(|_| BITS[random.usize(0..22)]).collect();
        let said = INCH.restate(&text);
        assert_eq!(INCH.restate(&said), said, "{text}");
        if !text.contains('5') {
            assert_eq!(said, text);
        }
    }
}
