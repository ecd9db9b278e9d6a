//! Constant-pressure control: a variable-speed drive that holds a set pressure by proportional and
//! integral action, sleeps when nothing is drawn and wakes when the pressure falls.

/// The drive as it is really set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriveParameters {
    /// Held pressure, bar.
    pub setpoint_bar: f64,
    /// Speed (1 is rated) per bar of error.
    pub gain_per_bar: f64,
    /// Speed per bar of error and second.
    pub integral_per_bar_s: f64,
    /// Seconds from rest to rated speed.
    pub ramp_s: f64,
    /// Time constant of the pressure filter, s.
    pub filter_s: f64,
    /// Least speed while awake.
    pub least_speed: f64,
    /// Falls asleep below this flow, L/min …
    pub sleep_flow_lpm: f64,
    /// … after so long, s.
    pub sleep_after_s: f64,
    /// Wakes when the pressure is this far below the set point, bar.
    pub wake_drop_bar: f64,
    /// Efficiency of the drive itself.
    pub efficiency: f64,
    /// Power factor towards the supply: rectifier input, far below 1 without correction.
    pub power_factor: f64,
    /// Drawn while asleep, W.
    pub standby_w: f64,
    /// Speed is taken back below this share of nominal voltage …
    pub full_speed_above_share: f64,
    /// … by this much per 0.01 of voltage.
    pub speed_per_percent: f64,
}

/// The drive in time.
#[derive(Clone, Debug)]
pub struct Drive {
    awake: bool,
    speed: f64,
    integral: f64,
    felt_bar: f64,
    idle_s: f64,
}

/// What the drive knows of its surroundings.
#[derive(Clone, Copy, Debug)]
pub struct DriveInputs {
    /// Pressure as its transducer says, bar.
    pub measured_bar: f64,
    /// Flow as the drive makes it out from torque and speed, L/min.
    pub flow_lpm: f64,
    /// Voltage over nominal.
    pub supply_share: f64,
    /// False while a protection holds it.
    pub allowed: bool,
}

impl Drive {
    /// Asleep.
    pub fn new(pressure_bar: f64) -> Self {
        Self { awake: false, speed: 0.0, integral: 0.0, felt_bar: pressure_bar, idle_s: 0.0 }
    }

    /// True from waking to sleeping.
    pub fn awake(&self) -> bool {
        self.awake
    }

    /// Speed, 1 is rated.
    pub fn speed(&self) -> f64 {
        self.speed
    }

    /// Stops at once, to coast.
    pub fn halt(&mut self) {
        self.awake = false;
        self.integral = 0.0;
        self.idle_s = 0.0;
    }

    /// Moves on by `dt_s`; the speed is [`Self::speed`].
    pub fn step(&mut self, inputs: DriveInputs, dt_s: f64, parameters: &DriveParameters) {
        let filter = dt_s / (dt_s + parameters.filter_s);
        self.felt_bar += (inputs.measured_bar - self.felt_bar) * filter;
        let error = parameters.setpoint_bar - self.felt_bar;
        if !self.awake && inputs.allowed && error >= parameters.wake_drop_bar {
            self.awake = true;
            self.idle_s = 0.0;
            self.integral = parameters.least_speed;
        }
        if !self.awake {
            // The water stops the wheel within a fraction of a second.
            self.speed -= self.speed * (dt_s / 0.3).min(1.0);
            return;
        }
        let short = (parameters.full_speed_above_share - inputs.supply_share).max(0.0) * 100.0;
        let most = (1.0 - short * parameters.speed_per_percent).max(parameters.least_speed);
        let wanted = parameters.gain_per_bar * error + self.integral;
        let command = wanted.clamp(parameters.least_speed, most);
        // No winding up against a stop.
        if wanted == command || (wanted > command) != (error > 0.0) {
            self.integral += parameters.integral_per_bar_s * error * dt_s;
        }
        let most_change = dt_s / parameters.ramp_s;
        self.speed += (command - self.speed).clamp(-most_change, most_change);
        let idle = inputs.flow_lpm < parameters.sleep_flow_lpm && error < 0.1;
        self.idle_s = if idle { self.idle_s + dt_s } else { 0.0 };
        if self.idle_s >= parameters.sleep_after_s {
            self.halt();
        }
    }
}
