//! What is normal for this installation, learned from its own record by medians and densest
//! groups: where it switches, what it draws, how fast it fills, how the supply yields.

use crate::facts::{ATMOSPHERE_BAR, Facts, RunFacts};
use crate::limits;
use crate::robust::{centre_and_sigma, median, quantile, sorted, theil_sen};
use crate::scan::{Load, Plan};
use pumpwitness_site_file::{Control, Site};

/// 2 psi: precharge below cut-in where none is declared (well-water industry sheet IV.1.2).
const PRECHARGE_BELOW_BAR: f64 = 0.138;

/// A level that may move over the record: a straight line through time.
#[derive(Clone, Copy, Debug)]
pub struct Line {
    /// Value in the middle of the record.
    pub value: f64,
    /// Change over the whole record.
    pub change: f64,
    /// Robust standard deviation about the line.
    pub sigma: f64,
    /// Values it rests on.
    pub count: usize,
    start_ms: i64,
    length_ms: f64,
}

impl Line {
    /// Through (moment, value) pairs; `None` below three.
    fn through(points: &[(i64, f64)], facts: &Facts) -> Option<Self> {
        let length_ms = ((facts.end_ms - facts.start_ms) as f64).max(1.0);
        let place = |ms: i64| (ms - facts.start_ms) as f64 / length_ms;
        let finite: Vec<(f64, f64)> =
            points.iter().filter(|p| p.1.is_finite()).map(|p| (place(p.0), p.1)).collect();
        if finite.len() < 3 {
            return None;
        }
        let slope = if finite.len() < 6 { 0.0 } else { theil_sen(&finite)? };
        let (value, sigma) = centre_and_sigma(finite.iter().map(|(x, y)| y - slope * (x - 0.5)))?;
        // A slope hidden in the scatter is no slope.
        if slope.abs() < sigma {
            let (value, sigma) = centre_and_sigma(finite.iter().map(|p| p.1))?;
            return Some(Self {
                value,
                change: 0.0,
                sigma,
                count: finite.len(),
                start_ms: facts.start_ms,
                length_ms,
            });
        }
        Some(Self {
            value,
            change: slope,
            sigma,
            count: finite.len(),
            start_ms: facts.start_ms,
            length_ms,
        })
    }

    /// Standard uncertainty of the change, from scatter and number: that of the slope of evenly
    /// spread points, σ·√(12/n) (least squares; the slope of Theil and Sen comes close to it).
    pub fn change_sigma(&self) -> f64 {
        self.sigma * (12.0 / self.count.max(1) as f64).sqrt()
    }

    /// Value at a moment.
    pub fn at(&self, time_ms: i64) -> f64 {
        let place = (time_ms - self.start_ms) as f64 / self.length_ms;
        self.value + self.change * (place - 0.5)
    }
}

/// What is normal here.
#[derive(Clone, Debug)]
pub struct Levels {
    /// Declared band, bar: from start to stop pressure; NaN when not declared.
    pub band_bar: f64,
    /// False where runs were told from the pressure alone, and what was told cannot be runs.
    pub runs_told: bool,
    /// Pressure at which the control stops the pump.
    pub cut_out: Option<Line>,
    /// Pressure at which the control starts the pump.
    pub cut_in: Option<Line>,
    /// Load from which a drive goes to sleep, W (A without power); it may wander over the record.
    pub idle: Option<Line>,
    /// Load of a drive at full speed, in the unit of `idle`.
    pub full_load: f64,
    /// Pressure at which a drive wakes, and its scatter, bar.
    pub wake: Option<(f64, f64)>,
    /// Power the nameplate stands for, W, as this record counts power: of all lines, or of the one
    /// measured.
    pub full_w: f64,
    /// Loaded power, W; NaN without power.
    pub power_w: f64,
    /// Running current, A.
    pub current_a: f64,
    /// Standby current, A.
    pub standby_a: f64,
    /// Usual voltage, V.
    pub voltage_v: f64,
    /// Gas of the tank as found, pressure times volume, bar·L; with the number of runs it rests on.
    pub gas_bar_l: Option<(f64, usize)>,
    /// Gas of the tank as declared, bar·L.
    pub declared_gas_bar_l: Option<f64>,
    /// Flow into the tank as found with the declared gas, share of the rated flow.
    pub flow_share: Option<f64>,
    /// Flow into the tank in the last third of the record against the first.
    pub flow_change: Option<f64>,
    /// Supply impedance at starts: (moment, Ω) of each start that showed it.
    pub impedance: Vec<(i64, f64)>,
}

impl Levels {
    /// Learns.
    pub fn learn(facts: &Facts, site: &Site, plan: &Plan) -> Self {
        let band_bar = plan.band_bar;
        let power_w = quantile(long(facts).map(|r| r.loaded), 0.75).unwrap_or(f64::NAN);
        let power_w = if facts.has.power { power_w } else { f64::NAN };
        let cut_out = if plan.held_bar.is_some() { None } else { cut_out(facts, plan) };
        // Runs told from the pressure alone may be no more than its ups and downs while as much is drawn
        // as the pump gives: no switch stops the pump where it is to start it.
        let told = plan.load != Load::Pressure
            || cut_out.is_some_and(|line| {
                line.value > plan.start_bar + limits::SWITCH_POINT.value * band_bar
            });
        let cut_out = cut_out.filter(|_| told);
        let cut_in = if plan.held_bar.is_some() { None } else { cut_in(facts, plan, cut_out) };
        let full_w = plan.line_w * lines(facts, site);
        let full_load = if facts.has.power { full_w } else { plan.rated_a };
        let idle = plan.held_bar.and_then(|held| idle(facts, held));
        let declared_gas_bar_l = declared_gas(site);
        let gas = if told { gas(facts, site, plan) } else { None };
        let flow_share = gas.zip(declared_gas_bar_l).map(|((found, _), declared)| declared / found);
        Self {
            band_bar,
            runs_told: told,
            cut_out,
            cut_in,
            wake: plan.held_bar.and_then(|_| wake(facts)),
            full_load: full_load
                .max(quantile(facts.runs.iter().map(|r| r.loaded), 0.95).unwrap_or(0.0)),
            idle,
            full_w,
            power_w,
            current_a: usual_current(facts),
            standby_a: median(facts.rests.iter().map(|r| r.current_a)).unwrap_or(f64::NAN),
            voltage_v: usual_voltage(facts, plan),
            gas_bar_l: gas,
            declared_gas_bar_l,
            flow_share,
            flow_change: flow_change(facts, plan),
            impedance: impedance(facts, plan),
        }
    }
}

/// How many times line voltage × line current the recorded power of a loaded motor is counted: √3
/// where it is that of three lines. With one line the ratio is the power factor, below 1.
fn lines(facts: &Facts, site: &Site) -> f64 {
    // Where the voltage was not recorded the nominal one is near enough to tell 1 from √3.
    let volts = |r: &RunFacts| if facts.has.voltage { r.voltage_v } else { site.supply.nominal_v };
    let ratio = median(long(facts).map(|r| r.power_w / (volts(r) * r.current_a)));
    if site.supply.phases == 3 && ratio.is_none_or(|ratio| ratio > 1.0) { 3f64.sqrt() } else { 1.0 }
}

/// Median running current, A.
pub fn usual_current(facts: &Facts) -> f64 {
    median(long(facts).map(|r| r.current_a)).unwrap_or(f64::NAN)
}

fn long(facts: &Facts) -> impl Iterator<Item = &RunFacts> {
    facts.runs.iter().filter(|r| {
        r.time.seconds() > 4.0 && !r.locked_at_stop && r.locked_s < 0.5 * r.time.seconds()
    })
}

/// True when nothing but the control can have stopped the run, as far as its own figures go.
/// `usual_a` is what the motor draws in most runs: where that is too much, too much is usual.
pub fn plain(run: &RunFacts, usual_a: f64, plan: &Plan) -> bool {
    let overloaded =
        run.last_current_a > limits::OVERLOAD_CURRENT.value * plan.rated_a.max(usual_a);
    let supply = run.stop_voltage_min_v < limits::DIP.value * plan.nominal_v
        || run.stop_voltage_max_v > limits::SWELL.value * plan.nominal_v;
    let unloaded = run.unloaded_since_ms.is_some_and(|since| run.time.end_ms - since > 1_500);
    run.stop_seen && !run.locked_at_stop && !overloaded && !supply && !unloaded
}

/// Load just before the stops that came with the pressure held, the lowest group of them: a drive
/// sleeps when it moves no water.
fn idle(facts: &Facts, held_bar: f64) -> Option<Line> {
    let load = |r: &RunFacts| if facts.has.power { r.last_power_w } else { r.last_current_a };
    let held = |r: &&RunFacts| {
        r.stop_seen && r.stop_bar > (1.0 - limits::PRESSURE_DEFICIT.value) * held_bar
    };
    let lowest = quantile(facts.runs.iter().filter(held).map(load), 0.25)?;
    let points: Vec<(i64, f64)> = facts
        .runs
        .iter()
        .filter(held)
        .map(|r| (r.time.end_ms, load(r)))
        .filter(|p| p.1 < 1.25 * lowest)
        .collect();
    Line::through(&points, facts)
}

/// Pressure at the starts of a drive: most are wakings.
fn wake(facts: &Facts) -> Option<(f64, f64)> {
    let starts: Vec<f64> =
        facts.runs.iter().filter(|r| r.start_seen).map(|r| r.start_bar).collect();
    let upper = quantile(starts.iter().copied(), 0.25)?;
    centre_and_sigma(starts.into_iter().filter(|bar| *bar >= upper))
}

/// The densest group of stop pressures among plain stops, allowed to move in a straight line.
fn cut_out(facts: &Facts, plan: &Plan) -> Option<Line> {
    let usual_a = usual_current(facts);
    // No switch starts half of its differential below its cut-in: such a start came by a clock or
    // by a protection, and so did the stop before it.
    let lowest = plan.start_bar - 0.5 * plan.band_bar;
    let stops: Vec<(i64, f64, f64)> = facts
        .runs
        .iter()
        .enumerate()
        .filter(|(_, r)| plain(r, usual_a, plan) && r.stop_bar.is_finite())
        .map(|(n, r)| {
            let next = facts.runs.get(n + 1).map_or(f64::NAN, |next| next.start_bar);
            (r.time.end_ms, r.stop_bar, next)
        })
        .collect();
    let driven: Vec<_> = stops
        .iter()
        .copied()
        .filter(|s| s.2.is_nan() || lowest.is_nan() || s.2 >= lowest)
        .collect();
    let stops = if driven.len() >= 3 { driven } else { stops };
    let (_, line) = densest(&stops, plan, facts)?;
    // No switch lets the pump go on past its cut-out: where the declared one was reached again and
    // again, stops lower down are something else's, however many.
    let width = limits::SWITCH_POINT.value * plan.band_bar;
    let at_declared: Vec<(i64, f64)> = stops
        .iter()
        .map(|s| (s.0, s.1))
        .filter(|s| s.1 > line.at(s.0) + 2.0 * width && (s.1 - plan.top_bar).abs() < width)
        .collect();
    if at_declared.len() >= limits::BEYOND_SWITCH.value as usize {
        return Line::through(&at_declared, facts);
    }
    Some(line)
}

fn densest(stops: &[(i64, f64, f64)], plan: &Plan, facts: &Facts) -> Option<(usize, Line)> {
    if stops.len() < 3 {
        return None;
    }
    let points: Vec<(i64, f64)> = stops.iter().map(|s| (s.0, s.1)).collect();
    let length = ((facts.end_ms - facts.start_ms) as f64).max(1.0);
    let place = |ms: i64| (ms - facts.start_ms) as f64 / length;
    let width = if plan.band_bar.is_finite() { 0.12 * plan.band_bar } else { 0.15 };
    let normal: Vec<(f64, f64)> = points.iter().map(|p| (place(p.0), p.1)).collect();
    let slope = theil_sen(&normal).unwrap_or(0.0);
    let mut best: Option<(usize, f64, f64)> = None;
    for slope in [0.0, slope] {
        let flat = sorted(normal.iter().map(|(x, y)| y - slope * (x - 0.5)));
        let mut low = 0;
        for high in 0..flat.len() {
            while flat[high] - flat[low] > width {
                low += 1;
            }
            let count = high - low + 1;
            // Standing still is the simpler story: a slope must win clearly.
            let better = best.is_none_or(|(most, _, held)| {
                if held == slope { count > most } else { count as f64 > 1.3 * most as f64 }
            });
            if better {
                best = Some((count, f64::midpoint(flat[low], flat[high]), slope));
            }
        }
    }
    let (count, centre, slope) = best?;
    let members: Vec<&(i64, f64, f64)> = stops
        .iter()
        .filter(|s| (s.1 - slope * (place(s.0) - 0.5) - centre).abs() <= width)
        .collect();
    // After a real cut-out the pressure stays until it is drawn down to the cut-in.
    let starts: Vec<f64> = members.iter().map(|s| s.2).filter(|p| p.is_finite()).collect();
    let usual = quantile(starts.iter().copied(), 0.75).unwrap_or(f64::NAN);
    let steady = starts.iter().filter(|p| (**p - usual).abs() < 3.0 * width).count();
    if count * 10 < stops.len() * 4 || steady * 10 < starts.len() * 6 {
        return None;
    }
    let points: Vec<_> = members.iter().map(|s| (s.0, s.1)).collect();
    Line::through(&points, facts).map(|line| (count, line))
}

/// Start pressures of runs that follow a stop at cut-out.
fn cut_in(facts: &Facts, plan: &Plan, cut_out: Option<Line>) -> Option<Line> {
    let width = if plan.band_bar.is_finite() { 0.15 * plan.band_bar } else { 0.15 };
    let usual_a = usual_current(facts);
    let lowest = plan.start_bar - 0.5 * plan.band_bar;
    let starts: Vec<(i64, f64)> = facts
        .runs
        .windows(2)
        .filter(|pair| {
            let after_cut_out = cut_out.is_some_and(|line| {
                (pair[0].stop_bar - line.at(pair[0].time.end_ms)).abs() < width
            }) || (pair[0].stop_bar - plan.top_bar).abs() < width;
            after_cut_out && plain(&pair[0], usual_a, plan) && pair[1].start_seen
        })
        .map(|pair| (pair[1].time.start_ms, pair[1].start_bar))
        .collect();
    let driven: Vec<_> =
        starts.iter().copied().filter(|s| lowest.is_nan() || s.1 >= lowest).collect();
    if driven.is_empty() && lowest.is_finite() {
        return None;
    }
    Line::through(if driven.len() >= 3 { &driven } else { &starts }, facts)
}

fn declared_gas(site: &Site) -> Option<f64> {
    let tank = site.tank?;
    let precharge = tank.precharge_bar.or(match site.control {
        Some(Control::PressureSwitch { cut_in_bar, .. }) => Some(cut_in_bar - PRECHARGE_BELOW_BAR),
        _ => None,
    })?;
    Some(tank.volume_l * (precharge + ATMOSPHERE_BAR))
}

/// Gas in the tank from slopes on both sides of starts and stops. With K = gas pressure × volume
/// (Boyle), net inflow changes 1/p at the rate inflow / K; on the two sides of a stop the draw is
/// the same, so the two rates add up to pump flow / K, whatever is being drawn.
fn gas(facts: &Facts, site: &Site, plan: &Plan) -> Option<(f64, usize)> {
    let flow_l_per_s = site.rated_flow_lpm? / 60.0;
    let sums = flow_over_gas(facts, plan);
    let side = |pick: fn(&[f64; 2]) -> f64| sums.iter().map(pick).filter(|sum| sum.is_finite());
    let (starts, stops) = (side(|s| s[0]), side(|s| s[1]));
    // A tank without water at the start, charged above the cut-in, leaves the pipes alone, whose
    // pressure falls and jumps; at the stop it holds water whatever its charge.
    let emptied = match (median(starts.clone()), median(stops.clone())) {
        (Some(start), Some(stop)) => start > limits::SIDES_APART.value * stop,
        _ => false,
    };
    let sums: Vec<f64> = if emptied { stops.collect() } else { starts.chain(stops).collect() };
    let count = if emptied { sums.len() } else { sums.len() / 2 };
    (count >= 3).then_some(())?;
    Some((flow_l_per_s / median(sums)?, count))
}

/// Flow of the last third of the runs against the first: the gas of a tank does not grow, so a
/// slower rise is less water.
fn flow_change(facts: &Facts, plan: &Plan) -> Option<f64> {
    let sums: Vec<f64> =
        flow_over_gas(facts, plan).into_iter().flatten().filter(|sum| sum.is_finite()).collect();
    let third = sums.len() / 3;
    if third < 6 {
        return None;
    }
    let early = median(sums[..third].iter().copied())?;
    Some(median(sums[sums.len() - third..].iter().copied())? / early)
}

/// Pump flow over the tank's gas, 1/(bar·s), at start and stop of each run, in time order; NaN where
/// it was not seen.
fn flow_over_gas(facts: &Facts, plan: &Plan) -> Vec<[f64; 2]> {
    if plan.drive {
        // A drive's flow is what it is told to be.
        return Vec::new();
    }
    long(facts)
        .filter(|r| r.unloaded_since_ms.is_none())
        // Beyond the band the pump works against a shut outlet, not into the tank.
        .filter(|r| r.max_bar.is_nan() || r.max_bar <= plan.top_bar + 0.5 * plan.band_bar)
        .map(|r| [r.fill_start + r.draw_before, r.fill_stop + r.draw_after])
        .map(|sums| sums.map(|sum| if sum > 0.0 { sum } else { f64::NAN }))
        .collect()
}

fn usual_voltage(facts: &Facts, plan: &Plan) -> f64 {
    let total: f64 = facts.voltage_time.iter().map(|(_, s)| s).sum();
    let mut sum = 0.0;
    for (permille, seconds) in &facts.voltage_time {
        sum += seconds;
        if sum * 2.0 >= total {
            return f64::from(*permille) / 1000.0 * plan.nominal_v;
        }
    }
    f64::NAN
}

/// Supply impedance of each start that moved the current enough to show it.
fn impedance(facts: &Facts, plan: &Plan) -> Vec<(i64, f64)> {
    if plan.drive {
        // The soft rise of a drive's current hides the step; the line through its ramp tells.
        return facts
            .runs
            .iter()
            .filter(|r| {
                r.start_seen && r.line_ohm.is_finite() && r.line_range_a > 0.2 * plan.rated_a
            })
            .map(|r| (r.time.start_ms, r.line_ohm))
            .collect();
    }
    if !facts.has.half_cycles {
        // Means and momentary values do not hold the lowest voltage together with the largest
        // current of a start; the drop from rest to running they do.
        return facts
            .runs
            .iter()
            .filter(|r| r.start_seen && r.run_ohm.is_finite() && r.current_a > 0.2 * plan.rated_a)
            .map(|r| (r.time.start_ms, r.run_ohm))
            .collect();
    }
    facts
        .runs
        .iter()
        .filter(|r| {
            r.start_seen && r.peak_a > 1.5 * plan.rated_a && r.start_ohm.is_finite()
                // An event of the supply at the same moment would be taken for the pump's own.
                && (r.run_ohm.is_nan() || r.start_ohm < 2.0 * r.run_ohm.abs() + 0.1 * plan.nominal_v / plan.rated_a / 10.0)
        })
        .map(|r| (r.time.start_ms, r.start_ohm))
        .collect()
}
