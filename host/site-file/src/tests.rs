use super::*;
use crate::quantities::{Key, SECTIONS, keys_of};
use proptest::prelude::*;

const LEAST: &str =
    "[supply]\nnominal_v = 230\nfrequency_hz = 50\n[motor]\nrated_current_a = 7.2\n";

fn error(text: &str) -> String {
    parse(text).expect_err("must be refused").to_string()
}

/// The least file with `lines` behind it; their first line is line 6.
fn error_after_least(lines: &str) -> String {
    error(&format!("{LEAST}{lines}"))
}

#[test]
fn the_example_reads_as_it_says() {
    let site = parse(EXAMPLE).unwrap();
    assert_eq!(site.name.as_deref(), Some("Upper orchard well"));
    assert_eq!(site.time_zone.as_deref(), Some("Europe/Lisbon"));
    assert_eq!(site.supply, Supply { nominal_v: 230.0, frequency_hz: 50.0, phases: 1 });
    assert_eq!(
        site.motor,
        Motor { rated_current_a: 7.2, service_factor: 1.15, start: Start::Direct }
    );
    assert_eq!(site.control, Some(Control::PressureSwitch { cut_in_bar: 2.0, cut_out_bar: 3.5 }));
    assert_eq!(site.tank, Some(Tank { volume_l: 60.0, precharge_bar: Some(1.8) }));
    assert_eq!(
        site.transducer,
        Some(Transducer { kind: TransducerKind::Loop, low_bar: 0.0, high_bar: 10.0 })
    );
    assert_eq!(site.rated_flow_lpm, Some(45.0));
    assert_eq!(site.limits, Limits { min_run_s: Some(60.0), max_starts_per_hour: Some(15.0) });
    assert_eq!(site.lamps, [(1, "dry running".to_owned()), (2, "red, lower left".to_owned())]);
    assert_eq!(site.lamp_means, [(2, LampMeaning::Overload)]);
    assert!(site.warnings().is_empty());
}

#[test]
fn only_supply_and_rated_current_are_needed() {
    let site = parse(LEAST).unwrap();
    assert_eq!(site.supply.phases, 1);
    assert_eq!(site.motor.service_factor, 1.0);
    assert!(site.control.is_none() && site.tank.is_none() && site.transducer.is_none());
    insta::assert_snapshot!(error(""), @"the section [supply] is missing: add it with `nominal_v`");
    insta::assert_snapshot!(
        error("[supply]\nnominal_v = 230\nfrequency_hz = 50\n"),
        @"the section [motor] is missing: add it with `rated_current_a`"
    );
    insta::assert_snapshot!(
        error("[supply]\nnominal_v = 230\n[motor]\nrated_current_a = 1"),
        @"line 1: [supply] lacks `frequency_hz`: add it: 50 or 60"
    );
    insta::assert_snapshot!(
        error("[supply]\nnominal_v = 230\nfrequency_hz = 50\n[motor]\nstart = \"soft\""),
        @"line 4: [motor] lacks `rated_current_a`: add it from the nameplate"
    );
}

/// 30/50 psi, a 20 gal tank and 28 psi of precharge, in bar and litres by the exact factors.
#[test]
fn other_units_are_converted() {
    let site = parse(&format!(
        "{LEAST}[control]\nkind = \"pressure-switch\"\ncut_in_psi = 30\ncut_out_kpa = 344.7379\n\
         [tank]\nvolume_gal = 20\nprecharge_psi = 28\n[pump]\nrated_flow_gpm = 10\n"
    ))
    .unwrap();
    let Some(Control::PressureSwitch { cut_in_bar, cut_out_bar }) = site.control else {
        panic!("{site:?}")
    };
    assert!((cut_in_bar - 2.068_427).abs() < 1e-6, "{cut_in_bar}");
    assert!((cut_out_bar - 3.447_379).abs() < 1e-6, "{cut_out_bar}");
    let tank = site.tank.unwrap();
    assert!((tank.volume_l - 75.708_236).abs() < 1e-6);
    assert!((tank.precharge_bar.unwrap() - 1.930_532).abs() < 1e-6);
    assert!((site.rated_flow_lpm.unwrap() - 37.854_118).abs() < 1e-6);
}

#[test]
fn a_quantity_in_two_units_is_refused() {
    insta::assert_snapshot!(
        error_after_least("[tank]\nvolume_l = 60\nvolume_gal = 15\n"),
        @"line 8: `volume_gal` and `volume_l` give the same quantity twice: keep one of them"
    );
}

#[test]
fn unknown_names_are_named_with_the_nearest() {
    insta::assert_snapshot!(
        error_after_least("[tank]\nvolum_l = 60\n"),
        @"line 7: [tank] has no key `volum_l`: did you mean `volume_l`?"
    );
    insta::assert_snapshot!(
        error_after_least("[tank]\ncolour = 60\n"),
        @"line 7: [tank] has no key `colour`: it may be one of volume_l, volume_gal, precharge_bar, precharge_kpa, precharge_psi"
    );
    insta::assert_snapshot!(
        error_after_least("[moter]\n"),
        @"line 6: there is no section [moter]: did you mean `motor`?"
    );
    insta::assert_snapshot!(
        error("nominal_v = 230\n"),
        @"line 1: there is no section [nominal_v]: it may be one of site, supply, motor, control, tank, transducer, pump, limits, lamps, lamp_means, fit"
    );
    insta::assert_snapshot!(
        error_after_least("[lamps]\n9 = \"lid\"\n"),
        @"line 7: [lamps] has no key `9`: it may be one of 1, 2, 3, 4, 5, 6, 7, 8"
    );
    insta::assert_snapshot!(
        error("motor = 3"),
        @"line 1: `motor` is a section: write [motor] on a line of its own"
    );
}

#[test]
fn impossible_values_are_refused_in_the_unit_written() {
    insta::assert_snapshot!(
        error("[supply]\nnominal_v = 23000\nfrequency_hz = 50\n[motor]\nrated_current_a = 7.2"),
        @"line 2: `nominal_v` = 23000: the nominal voltage must lie between 50 and 700 V"
    );
    insta::assert_snapshot!(
        error("[supply]\nnominal_v = 230\nfrequency_hz = 55\n[motor]\nrated_current_a = 7.2"),
        @"line 3: `frequency_hz` = 55: it must be 50 or 60"
    );
    insta::assert_snapshot!(
        error_after_least("[control]\nkind = \"constant-pressure\"\nsetpoint_psi = 3000\n"),
        @"line 8: `setpoint_psi` = 3000: the held pressure must lie between 0.725189 and 1450.38 psi"
    );
    insta::assert_snapshot!(
        error_after_least("[limits]\nmin_run_s = -1\n"),
        @"line 7: `min_run_s` = -1: the shortest good run must lie between 1 and 86400 s"
    );
    insta::assert_snapshot!(
        error("[supply]\nnominal_v = nan\nfrequency_hz = 50\n[motor]\nrated_current_a = 7.2"),
        @"line 2: `nominal_v` must be a plain number, such as 2.5, this is the number nan"
    );
}

#[test]
fn wrong_kinds_are_refused() {
    insta::assert_snapshot!(
        error_after_least("[tank]\nvolume_l = \"60\"\n"),
        @r#"line 7: `volume_l` must be a plain number, such as 2.5, this is the text "60""#
    );
    insta::assert_snapshot!(
        error_after_least("[site]\nname = 12\n"),
        @"line 7: `name` must be text in quotes, this is the number 12"
    );
    insta::assert_snapshot!(
        error_after_least("[control]\nkind = \"switch\"\n"),
        @r#"line 7: `kind` = "switch": it must be "pressure-switch" or "constant-pressure""#
    );
    insta::assert_snapshot!(
        error_after_least("[lamps]\n1 = \"a label longer than the logger holds\"\n"),
        @"line 7: `1` is 36 bytes long: it must have 1 to 24"
    );
    insta::assert_snapshot!(error("[supply\n"), @"line 1: this cannot be read as TOML: unclosed table, expected `]`");
    insta::assert_snapshot!(
        error("[supply]\nnominal_v = 230\nnominal_v = 240\n"),
        @"line 3: this cannot be read as TOML: duplicate key"
    );
}

#[test]
fn contradictions_are_refused() {
    insta::assert_snapshot!(
        error_after_least("[control]\nkind = \"pressure-switch\"\ncut_in_bar = 3.5\ncut_out_bar = 2\n"),
        @"line 9: `cut_out_bar` is 2 bar, not above the cut-in pressure of 3.5 bar: the pump could never stop; correct one of them"
    );
    insta::assert_snapshot!(
        error_after_least("[control]\nkind = \"constant-pressure\"\nsetpoint_bar = 3\ncut_in_bar = 2\n"),
        @r#"line 9: `cut_in_bar` does not belong to kind = "constant-pressure": take one of them out"#
    );
    insta::assert_snapshot!(
        error_after_least("[transducer]\nlow_bar = 10\nhigh_bar = 0\n"),
        @"line 8: `high_bar` is 0 bar, not above the low end of 10 bar; correct one of them"
    );
    insta::assert_snapshot!(
        error_after_least("[control]\ncut_in_bar = 2\n"),
        @r#"line 6: [control] lacks `kind`: add it: "pressure-switch" or "constant-pressure""#
    );
}

#[test]
fn odd_values_are_remarked_on() {
    let site = parse(&format!(
        "{LEAST}[control]\nkind = \"pressure-switch\"\ncut_in_bar = 2\ncut_out_bar = 7\n\
         [tank]\nvolume_l = 60\nprecharge_bar = 2.5\n[transducer]\nhigh_bar = 6\n"
    ))
    .unwrap();
    insta::assert_snapshot!(site.warnings().join("\n"), @r"
    the precharge of 2.5 bar lies above the cut-in pressure of 2 bar: the tank would be empty before the pump starts; check both
    the transducer covers 0 to 6 bar and cannot show the cut-out pressure of 7 bar
    ");
}

#[test]
fn long_and_marked_texts_are_bounded() {
    assert_eq!(
        parse(&" ".repeat(TEXT_BYTES_MAX + 1)),
        Err(SiteFileError::TooLong { bytes: TEXT_BYTES_MAX + 1 })
    );
    // A byte order mark, as some editors write it.
    assert!(parse(&format!("\u{FEFF}{LEAST}")).is_ok());
    // Deep nesting ends in an error, not in a full stack.
    assert!(parse(&format!("a = {}", "[".repeat(60_000))).is_err());
}

#[test]
fn the_page_lists_every_key_and_range() {
    let page = include_str!("../SITE-FILE.md");
    for (section, keys) in &SECTIONS {
        assert!(page.contains(&format!("`[{section}]`")), "{section}");
        if section.starts_with("lamp") {
            // The page gives the inputs as a range.
            continue;
        }
        for key in keys_of(keys) {
            assert!(page.contains(&format!("`{key}`")), "{section} {key}");
        }
        for key in *keys {
            if let Key::Number(quantity) = key {
                let range = format!("{} to {}", quantity.min, quantity.max);
                assert!(page.contains(&range), "{section} {}: {range}", quantity.stem);
            }
        }
    }
}

fn sites() -> impl Strategy<Value = Site> {
    let control = prop_oneof![
        Just(None),
        (0.05..50.0, 0.01..50.0).prop_map(|(cut_in_bar, more)| Some(Control::PressureSwitch {
            cut_in_bar,
            cut_out_bar: cut_in_bar + more
        })),
        (0.05..100.0).prop_map(|setpoint_bar| Some(Control::ConstantPressure { setpoint_bar })),
    ];
    let tank = prop::option::of(
        (0.1..1000.0, prop::option::of(0.0..10.0))
            .prop_map(|(volume_l, precharge_bar)| Tank { volume_l, precharge_bar }),
    );
    let transducer = prop::option::of((-1.0..1.0, 2.0..900.0, any::<bool>()).prop_map(
        |(low_bar, high_bar, four_to_twenty)| Transducer {
            kind: if four_to_twenty { TransducerKind::Loop } else { TransducerKind::Ratiometric },
            low_bar,
            high_bar,
        },
    ));
    (
        (prop::option::of("[a-z\"\\\\éñ#=]{1,20}"), any::<bool>(), 50.0..700.0, any::<bool>()),
        (0.1..200.0, 1.0..2.0, 0..3_usize),
        (control, tank, transducer),
        (prop::option::of(0.1..1000.0), prop::option::of(1.0..1000.0)),
        prop::collection::btree_map(1..=8_u8, "[a-z ']{0,10}x", 0..4),
        (prop::option::of("[a-zé\"]{1,30}"), prop::option::of("[0-9A-F]{8}")),
    )
        .prop_map(|(site, motor, parts, pump, lamps, (person, serial))| Site {
            name: site.0,
            customer: person.clone(),
            address: serial.clone(),
            time_zone: site.1.then(|| "Europe/Lisbon".to_owned()),
            units: if site.1 { Units::Us } else { Units::Metric },
            supply: Supply {
                nominal_v: site.2,
                frequency_hz: if site.3 { 50.0 } else { 60.0 },
                phases: if site.1 { 3 } else { 1 },
            },
            motor: Motor {
                rated_current_a: motor.0,
                service_factor: motor.1,
                start: [Start::Direct, Start::Soft, Start::Drive][motor.2],
            },
            control: parts.0,
            tank: parts.1,
            transducer: parts.2,
            rated_flow_lpm: pump.0,
            limits: Limits { min_run_s: pump.1, max_starts_per_hour: pump.0 },
            lamp_means: lamps
                .keys()
                .map(|n| (*n, LampMeaning::WORDS[usize::from(*n) % LampMeaning::WORDS.len()].1))
                .collect(),
            lamps: lamps.into_iter().map(|(n, label)| (n, label.trim().to_owned())).collect(),
            fit: Fit {
                by: person.clone(),
                reason: serial.clone(),
                clamp_serial: serial,
                checks: person,
                ..Fit::default()
            },
        })
}

proptest! {
    #[test]
    fn canonical_text_comes_back(site in sites()) {
        let text = site.to_toml();
        prop_assert_eq!(parse(&text), Ok(site), "{}", text);
    }

    /// A file with any byte changed, or cut off anywhere, gives a site or an error of one line.
    #[test]
    fn damaged_text_is_answered_in_one_line(at in 0..EXAMPLE.len(), byte in 0..128_u8, cut: bool) {
        let mut bytes = EXAMPLE.as_bytes().to_vec();
        if cut { bytes.truncate(at) } else { bytes[at] = byte }
        if let Ok(text) = String::from_utf8(bytes)
            && let Err(error) = parse(&text)
        {
            prop_assert_eq!(error.to_string().lines().count(), 1);
        }
    }
}
