//! A small plant for tests: tank by Boyle's law, pump on a curve, supply with an impedance, pressure
//! switch or drive. Its own invention, much simpler than `site-model`; a fault is a knob.

#![allow(missing_docs)]

use pumpwitness_recording::Recording;
use pumpwitness_recording::columns::{Channel, Columns};
use pumpwitness_site_file::Site;

const STEP_S: f64 = 0.2;
const PIPE_L_PER_BAR: f64 = 0.1;
const ATM: f64 = crate::facts::ATMOSPHERE_BAR;

/// The plant and its knobs; `default` is sound.
#[derive(Clone, Debug)]
pub struct Plant {
    pub nominal_v: f64,
    pub hz: f64,
    pub rated_a: f64,
    pub flow_lpm: f64,
    pub tank_l: f64,
    pub precharge_bar: f64,
    pub cut_in: f64,
    pub cut_out: f64,
    pub held_bar: Option<f64>,
    pub hours: f64,
    pub seed: u64,
    // knobs
    pub real_precharge_bar: Option<f64>,
    pub gas_share: f64,
    pub real_cut_in: Option<f64>,
    pub real_cut_out: Option<f64>,
    pub leak_l_per_h: f64,
    pub flow_share: f64,
    pub current_share: f64,
    pub heat_trip_s: Option<f64>,
    /// Least wait after it, s, and by how much more it may last.
    pub heat_wait_s: (f64, f64),
    pub well_l: Option<f64>,
    pub well_refill_lpm: f64,
    pub dry_trip_s: f64,
    pub shut_valve: bool,
    pub source_v: fn(f64) -> f64,
    pub source_ohm: fn(f64) -> f64,
    pub reading: fn(f64, f64) -> f64,
    pub open_circuit: fn(f64) -> bool,
    pub loop_gain: f64,
    pub row_s: f64,
}

impl Default for Plant {
    fn default() -> Self {
        Self {
            nominal_v: 230.0,
            hz: 50.0,
            rated_a: 5.0,
            flow_lpm: 45.0,
            tank_l: 150.0,
            precharge_bar: 1.8,
            cut_in: 2.0,
            cut_out: 3.5,
            held_bar: None,
            hours: 30.0,
            seed: 7,
            real_precharge_bar: None,
            gas_share: 1.0,
            real_cut_in: None,
            real_cut_out: None,
            leak_l_per_h: 0.0,
            flow_share: 1.0,
            current_share: 1.0,
            heat_trip_s: None,
            heat_wait_s: (400.0, 60.0),
            well_l: None,
            well_refill_lpm: 10.0,
            dry_trip_s: 8.0,
            shut_valve: false,
            source_v: |_| 1.0,
            source_ohm: |_| 0.3,
            reading: |_, bar| bar,
            open_circuit: |_| false,
            loop_gain: 1.0,
            row_s: STEP_S,
        }
    }
}

struct Noise(u64);

impl Noise {
    fn unit(&mut self) -> f64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64) / (1u64 << 53) as f64
    }

    fn about(&mut self, scale: f64) -> f64 {
        (self.unit() + self.unit() + self.unit() - 1.5) * scale
    }
}

#[derive(Default)]
struct Row {
    v: Vec<f64>,
    v_min: f64,
    v_max: f64,
    i: Vec<f64>,
    i_max: f64,
    p: Vec<f64>,
    w: Vec<f64>,
}

impl Plant {
    /// What its owner declares.
    pub fn site(&self) -> Site {
        let control = match self.held_bar {
            Some(bar) => format!("kind = \"constant-pressure\"\nsetpoint_bar = {bar:?}"),
            None => format!(
                "kind = \"pressure-switch\"\ncut_in_bar = {:?}\ncut_out_bar = {:?}",
                self.cut_in, self.cut_out
            ),
        };
        let start = if self.held_bar.is_some() { "drive" } else { "direct" };
        pumpwitness_site_file::parse(&format!(
            "[supply]\nnominal_v = {:?}\nfrequency_hz = {:?}\nphases = 1\n[motor]\nrated_current_a = \
             {:?}\nservice_factor = 1.15\nstart = \"{start}\"\n[control]\n{control}\n[tank]\nvolume_l = \
             {:?}\nprecharge_bar = {:?}\n[transducer]\nkind = \"4-20ma\"\nlow_bar = 0.0\nhigh_bar = \
             10.0\n[pump]\nrated_flow_lpm = {:?}\n[limits]\nmin_run_s = {}\nmax_starts_per_hour = {}\n",
            self.nominal_v, self.hz, self.rated_a, self.tank_l, self.precharge_bar, self.flow_lpm,
            if self.held_bar.is_some() { 10 } else { 45 },
            if self.held_bar.is_some() { 80 } else { 30 },
        ))
        .expect("the test's own site file")
    }

    fn pressure(water: f64, gas: f64, volume: f64, precharge: f64) -> f64 {
        if water >= 0.0 {
            gas / (volume - water).max(0.01) - ATM
        } else {
            (precharge + water / PIPE_L_PER_BAR).max(0.0)
        }
    }

    /// Lets it run.
    pub fn record(&self) -> Recording {
        let mut noise = Noise(self.seed);
        let precharge = self.real_precharge_bar.unwrap_or(self.precharge_bar);
        let gas = self.tank_l * (precharge + ATM) * self.gas_share;
        let volume = gas / (precharge + ATM);
        let rated = self.flow_lpm / 60.0;
        let (cut_in, cut_out) = match self.held_bar {
            Some(bar) => (0.85 * bar, 1.04 * bar),
            None => {
                (self.real_cut_in.unwrap_or(self.cut_in), self.real_cut_out.unwrap_or(self.cut_out))
            }
        };
        let shut_off = 1.6 * cut_out;
        let middle = f64::midpoint(cut_in, cut_out);
        let full_w = 0.83 * self.nominal_v * self.rated_a;
        let mut water = gas / (precharge + ATM) - gas / (cut_out + ATM) - 0.3;
        let (mut draw, mut draw_until, mut next_draw) = (0.0, 0.0, 600.0);
        let (mut on, mut closed, mut since, mut locked_until) = (false, false, -100.0, 0.0);
        let (mut well, mut dry_for, mut heat, mut drive_flow) = (self.well_l, 0.0, 0.0, 0.0);
        let (mut idle_for, mut before_bar, mut wet) = (0.0, cut_out, true);
        let mut columns = Columns::default();
        let mut channels: [Channel; 3] = Default::default();
        let (mut power, mut frequency) = (Vec::new(), Vec::new());
        let mut row = Row::default();
        let steps = (self.hours * 3600.0 / STEP_S) as i64;
        for step in 0..steps {
            let t = step as f64 * STEP_S;
            if t > draw_until && t > next_draw {
                draw = rated * (0.15 + 0.5 * noise.unit());
                draw_until = t + 20.0 + 300.0 * noise.unit().powi(2);
                next_draw = draw_until + 60.0 + 2_400.0 * noise.unit().powi(2);
            }
            let source = self.nominal_v * (self.source_v)(t);
            let open = (self.open_circuit)(t);
            // Control: the switch closes and opens by pressure; a protection in series with it waits.
            let bar = Self::pressure(water, gas, volume, precharge);
            let supply = source > 0.5 * self.nominal_v;
            if bar <= cut_in {
                closed = true;
            }
            if !supply && on {
                (on, locked_until) = (false, t + 2.0);
            }
            if !on && supply && t >= locked_until && closed && !open {
                (on, since, dry_for, idle_for, drive_flow) = (true, t, 0.0, 0.0, 0.1 * rated);
            }
            // Once dry, the intake stays so until the level has come back a little.
            wet = well.is_none_or(|litres| litres > if wet { 0.0 } else { 8.0 });
            let turning = on && t - since > 0.4 && wet;
            // An empty tank leaves the pipes alone, which answer fast.
            let parts = if water < 1.0 { 40 } else { 1 };
            let (mut flow, mut bar) = (0.0, bar);
            for _ in 0..parts {
                bar = Self::pressure(water, gas, volume, precharge);
                let opens = if t > draw_until || bar <= 0.0 { 0.0 } else { draw };
                let out = (opens + self.leak_l_per_h / 3600.0) * (bar.max(0.0) / middle).sqrt();
                let most = self.flow_share
                    * rated
                    * ((shut_off - bar).max(0.0) / (shut_off - middle)).sqrt();
                flow = match self.held_bar {
                    _ if !turning || self.shut_valve => 0.0,
                    Some(held) => {
                        let slope = (bar - before_bar) / STEP_S;
                        drive_flow += STEP_S
                            * rated
                            * self.loop_gain
                            * (0.5 * (held - bar) - 0.6 * slope / self.loop_gain.powi(2))
                            / f64::from(parts);
                        let limit = most * (source / self.nominal_v / 0.9).min(1.0).powi(3);
                        drive_flow = drive_flow.clamp(0.0, limit);
                        drive_flow
                    }
                    None => most,
                };
                water = (water + (flow - out) * STEP_S / f64::from(parts))
                    .clamp(-precharge * PIPE_L_PER_BAR, volume * 0.98);
            }
            before_bar = bar;
            let opens = if t > draw_until { 0.0 } else { draw };
            // The transducer sits at the pump, before the shut valve.
            let bar = if self.shut_valve && on { shut_off * 0.95 } else { bar };
            if let Some(litres) = &mut well {
                *litres = (*litres + (self.well_refill_lpm / 60.0 - flow) * STEP_S)
                    .min(self.well_l.unwrap_or(0.0));
            }
            // Motor.
            let share = if wet { 0.55 + 0.45 * flow / rated } else { 0.28 };
            let watts = if on {
                match self.held_bar {
                    Some(_) => full_w * (0.12 + 0.8 * share * (flow / rated + 0.02)),
                    None => full_w * share * self.current_share,
                }
            } else if self.held_bar.is_some() {
                11.0
            } else {
                0.0
            };
            let amps = if on && t - since < 0.4 && self.held_bar.is_none() {
                5.0 * self.rated_a * source / self.nominal_v
            } else if on && self.held_bar.is_none() {
                self.rated_a
                    * self.current_share
                    * if wet { 0.55 + 0.38 * flow / rated } else { 0.48 }
            } else {
                watts / source.max(50.0) / 0.85
            };
            let volts = (source - (self.source_ohm)(t) * amps).max(0.0);
            heat += if on { STEP_S } else { -STEP_S * 0.5 };
            heat = f64::max(heat, 0.0);
            if on && t - since > 2.0 {
                dry_for = if wet { 0.0 } else { dry_for + STEP_S };
                let asleep = self.held_bar.is_some() && flow < 0.03 * rated;
                idle_for = if asleep { idle_for + STEP_S } else { 0.0 };
                if dry_for > self.dry_trip_s {
                    (on, locked_until) = (false, t + 300.0);
                } else if self.heat_trip_s.is_some_and(|limit| heat > limit) {
                    let (least_s, more_s) = self.heat_wait_s;
                    (on, locked_until) = (false, t + least_s + more_s * noise.unit());
                } else if self.current_share > 1.2 && t - since > 60.0 {
                    (on, locked_until) = (false, t + 240.0 + 90.0 * noise.unit());
                } else if (self.held_bar.is_none() && bar >= cut_out && !self.shut_valve)
                    || idle_for > 8.0
                {
                    (on, closed) = (false, false);
                } else if self.shut_valve && t - since > 120.0 {
                    (on, locked_until) = (false, t + 900.0);
                }
            }
            // Rows.
            let moving = on || opens > 0.0 || t - draw_until < 5.0;
            let seen = (self.reading)(t, bar) + noise.about(if moving { 0.01 } else { 0.003 });
            let v = volts + noise.about(0.3);
            if row.v.is_empty() {
                (row.v_min, row.v_max, row.i_max) = (f64::MAX, 0.0, 0.0);
            }
            row.v.push(v);
            row.v_min = row.v_min.min(v - 0.4);
            row.v_max = row.v_max.max(v + 0.4);
            row.i.push((amps + noise.about(0.01)).abs());
            row.i_max = row.i_max.max(amps * (1.0 + noise.about(0.02)) + 0.02);
            row.p.push(seen);
            row.w.push(if amps > 2.5 * self.rated_a { 3.0 * full_w } else { watts });
            let length = row.v.len() as f64 * STEP_S;
            if length + 1e-6 >= if moving { self.row_s } else { self.row_s.max(1.0) } {
                let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
                let end_ms = 1_750_000_000_000 + ((t + STEP_S) * 1000.0).round() as i64;
                columns.end_ms.push(end_ms);
                columns.span_ms.push((length * 1000.0).round() as u32);
                let mut put = |n: usize, mean: f64, low: f64, high: f64| {
                    channels[n].mean.push(mean as f32);
                    channels[n].min.push(low as f32);
                    channels[n].max.push(high as f32);
                };
                put(0, mean(&row.v), row.v_min, row.v_max);
                put(1, mean(&row.i), row.i[0], row.i_max);
                let p = mean(&row.p);
                let low = row.p.iter().copied().fold(p, f64::min);
                let high = row.p.iter().copied().fold(p, f64::max);
                put(2, p, low - 0.005, high + 0.005);
                power.push(mean(&row.w) as f32);
                frequency.push(if supply { self.hz as f32 } else { 0.0 });
                row = Row::default();
            }
        }
        let [voltage, current, pressure] = channels.map(|c| Channel { spread: true, ..c });
        columns.voltage_v = vec![voltage];
        columns.current_a = vec![current];
        columns.pressure_bar = Some(pressure);
        columns.power_w = Some(power);
        columns.frequency_hz = Some(frequency);
        Recording { columns, ..Recording::default() }
    }
}
