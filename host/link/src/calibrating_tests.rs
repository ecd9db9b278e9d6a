use super::*;
use proptest::prelude::*;
use pumpwitness_core::calibration::Channels;
use pumpwitness_core::meter::{Meter, MeterConfig};
use pumpwitness_core::wave::Frame;
use pumpwitness_protocol::settings::TransducerKind;

fn applied(text: &str) -> Result<Calibration, CalibratingError> {
    parse(text)?.apply(&Calibration::default())
}

#[test]
fn the_example_file_is_a_calibration() {
    let new = applied(include_str!("../example-calibration.toml")).unwrap();
    let old = Calibration::default();
    assert_eq!(new.made_ms, 1_795_602_600_000); // 2026-11-25T10:30:00Z
    assert_eq!((new.by.as_str(), new.reference.len()), ("J. Fitter", 39));
    // (229.6 / 230.4 + 241.2 / 242.0) / 2 of 15 258 789, by hand.
    assert_eq!(new.voltage.gain_nano, 15_207_077);
    assert_eq!(new.current.gain_nano, (3_051_758.0 * 7.21_f64 / 7.15).round() as u32);
    // 16 mA over 16.034 mA of 381 nA; 4 mA must come out as 4 mA.
    let counts = |ma: f64| ma * 1e6 / f64::from(old.signal.gain_nano);
    let shown = |ma: f64| {
        f64::from(new.signal.gain_nano) * (counts(ma) - f64::from(new.signal.offset)) / 1e6
    };
    // Gain and offset are whole numbers: 1 in 381, and half a count of 0.4 µA.
    assert!((shown(4.012) - 4.0).abs() < 0.02 && (shown(20.046) - 20.0).abs() < 0.05);
    assert_eq!(new.transducer_supply.gain_nano, (610_352.0 * 24.02_f64 / 23.9).round() as u32);
}

#[test]
fn what_is_in_force_is_shown_as_a_file_that_leads_to_it() {
    let new = applied(include_str!("../example-calibration.toml")).unwrap();
    let text = show(&new);
    assert_eq!(applied(&text), Ok(new));
    assert_eq!(applied(&show(&Calibration::default())), Ok(Calibration::default()));
}

#[test]
fn what_cannot_be_meant_is_refused() {
    let made = "made = 2026-11-25\n";
    let error = |text: &str| applied(&format!("{made}{text}")).unwrap_err();
    let point = |reference: &str| {
        format!("[voltage]\npoints = [{{ reference_v = {reference}, logger_v = 230.0 }}]")
    };
    assert!(applied(&format!("{made}{}", point("229.0"))).is_ok());
    assert_eq!(applied(&point("229.0")), Err(CalibratingError::NoTime));
    assert!(matches!(error(&point("0")), CalibratingError::Value { channel: "voltage", .. }));
    assert!(matches!(error(&point("nan")), CalibratingError::Value { .. }));
    assert!(matches!(error(&point("115.0")), CalibratingError::TooFar { .. }));
    assert!(matches!(error("[voltage]\npoints = []"), CalibratingError::Value { .. }));
    assert!(matches!(
        error(&(point("230.0") + "\ngain_v_per_count = 0.01")),
        CalibratingError::Both("voltage")
    ));
    assert!(matches!(error("[voltage]\ngain_v_per_count = 1e-9"), CalibratingError::Range(_)));
    assert!(matches!(error("[voltage]\nlate_us = 1e30"), CalibratingError::Range(_)));
    assert!(matches!(error("[voltages]\n"), CalibratingError::Form(_)));
    assert!(matches!(
        error(&format!("by = \"{}\"", "x".repeat(33))),
        CalibratingError::TooLong { .. }
    ));
    let near = "[signal]\npoints = [{ reference_ma = 12, logger_ma = 12 }, { reference_ma = 13, logger_ma = 13 }]";
    assert!(matches!(error(near), CalibratingError::TooNear("signal")));
    let heater = "[phase]\nfrequency_hz = 50\ncurrent = \"lags\"\n\
        reference = { w = 2300, v = 230, a = 10 }\nlogger = { w = 2299, v = 230, a = 10 }";
    assert!(matches!(error(heater), CalibratingError::PowerFactor(_)));
    assert!(matches!(
        error(&heater.replace("2300", "2400")),
        CalibratingError::MoreThanAll("the reference")
    ));
}

/// Applied twice, a correction would be made twice.
#[test]
fn readings_count_once() {
    let readings = parse(include_str!("../example-calibration.toml")).unwrap();
    let first = readings.apply(&Calibration::default()).unwrap();
    assert!(matches!(readings.apply(&first), Err(CalibratingError::Stale { .. })));
}

/// The meter itself, on a front end with known errors: what it shows, corrected by what a true
/// reference shows, is right afterwards.
#[test]
fn a_front_end_is_put_right() {
    let (rate, hz) = (5_000_u32, 50.0);
    let (v, a, lag) = (230.0, 4.4, 0.9_f64);
    // True worth of a count, and 40 µs of lateness of the current.
    let (true_v, true_a, late_s) = (15_258_789e-9 * 1.013, 3_051_758e-9 * 0.982, 40e-6);
    let shown = |calibration: &Calibration| {
        let mut meter = Meter::new(MeterConfig {
            frames_per_s: rate,
            nominal_hz: 50,
            transducer: TransducerKind::Absent,
            voltage_floor_mv: 11_500,
            current_floor_ma: 500,
            calibration: Channels::from(calibration),
        })
        .unwrap();
        let mut sums = (0.0, 0.0, 0.0, 0.0);
        for n in 0..20_000_u32 {
            let t = f64::from(n) / f64::from(rate);
            let wave = |rms: f64, at: f64| rms * 2_f64.sqrt() * (TAU * hz * t - at).sin();
            let frame = Frame {
                voltage: (wave(v, 0.0) / true_v).round() as i16,
                current: (wave(a, lag + TAU * hz * late_s) / true_a).round() as i16,
                ..Frame::default()
            };
            if let Some(half) = meter.push(&frame)
                && n > 10_000
            {
                sums.0 += half.voltage_sq_mv2 as f64 / 1e6;
                sums.1 += half.current_sq_ma2 as f64 / 1e6;
                sums.2 += f64::from(half.power_mw) / 1e3;
                sums.3 += 1.0;
            }
        }
        ((sums.0 / sums.3).sqrt(), (sums.1 / sums.3).sqrt(), sums.2 / sums.3)
    };
    let before = Calibration::default();
    let (lv, la, lw) = shown(&before);
    let w = v * a * lag.cos();
    let new = applied(&format!(
        "made = 2026-11-25\n\
         [voltage]\npoints = [{{ reference_v = {v:?}, logger_v = {lv:?} }}]\n\
         [current]\npoints = [{{ reference_a = {a:?}, logger_a = {la:?} }}]\n\
         [phase]\nfrequency_hz = {hz:?}\ncurrent = \"lags\"\n\
         reference = {{ w = {w:?}, v = {v:?}, a = {a:?} }}\n\
         logger = {{ w = {lw:?}, v = {lv:?}, a = {la:?} }}\n"
    ))
    .unwrap();
    assert!((new.current.late_ns - 40_000).abs() < 500, "{} ns", new.current.late_ns);
    let (nv, na, nw) = shown(&new);
    let off = |got: f64, right: f64| (got / right - 1.0).abs();
    assert!(off(lw, w) > 0.01, "nothing to put right");
    assert!(off(nv, v) < 2e-4 && off(na, a) < 5e-4 && off(nw, w) < 5e-4, "{nv} {na} {nw} of {w}");
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,200}") {
        let _ = applied(&text);
    }

    /// Points on any straight line are put right to the resolution of whole counts.
    #[test]
    fn points_on_a_line_lead_to_it(slope in 0.85_f64..1.15, shift in -0.5_f64..0.5) {
        let text = format!(
            "made = 2026-11-25\n[transducer_supply]\npoints = [\
             {{ reference_v = {:?}, logger_v = 5.0 }}, {{ reference_v = {:?}, logger_v = 25.0 }}]",
            5.0 * slope + shift, 25.0 * slope + shift,
        );
        let new = applied(&text).unwrap().transducer_supply;
        let gain = f64::from(Calibration::default().transducer_supply.gain_nano) / 1e9;
        for logger in [5.0, 15.0, 25.0] {
            let counts = logger / gain;
            let got = f64::from(new.gain_nano) / 1e9 * (counts - f64::from(new.offset));
            prop_assert!((got - (logger * slope + shift)).abs() < 0.001, "{got}");
        }
    }
}
