//! Whether two counts come from one rate: the exact conditional test.
//!
//! Given their sum, the first of two Poisson counts is binomial. Source: J. Przyborowski and
//! H. Wilenski, Biometrika 31 (1940) 313–323; the interval by C. J. Clopper and E. S. Pearson,
//! Biometrika 26 (1934) 404–413. Checked against `scipy.stats.binomtest` in tests/reference.

/// Counts in a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Counted {
    /// How many.
    pub count: u64,
    /// In how many days.
    pub days: f64,
}

impl Counted {
    /// How many a day.
    pub fn per_day(self) -> f64 {
        self.count as f64 / self.days
    }

    /// As many independent counts as these are worth, where they come in clusters.
    fn worth(self, clustering: f64) -> u64 {
        (self.count as f64 / clustering).round() as u64
    }
}

/// Result of the test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RateTest {
    /// Two-sided p.
    pub p: f64,
    /// Second rate over first; infinite where the first is nought.
    pub ratio: f64,
    /// 95 % interval of the ratio.
    pub interval: (f64, f64),
}

/// The test, with counts worth 1/`clustering` of independent ones; `None` without a count or time.
pub fn compare(first: Counted, second: Counted, clustering: f64) -> Option<RateTest> {
    let (a, b) = (first.worth(clustering), second.worth(clustering));
    if a + b == 0 || first.days <= 0.0 || second.days <= 0.0 {
        return None;
    }
    let share = second.days / (first.days + second.days);
    let (low, high) = clopper_pearson(b, a + b, 0.95);
    let to_ratio = |share: f64| share / (1.0 - share) * first.days / second.days;
    Some(RateTest {
        p: binomial(b, a + b, share),
        ratio: second.per_day() / first.per_day(),
        interval: (to_ratio(low), to_ratio(high)),
    })
}

/// How much counts by day scatter more than independent ones would: variance over mean, within the
/// records, at least 1. Source: P. McCullagh and J. A. Nelder, Generalized Linear Models (1989),
/// section 6.2.3.
pub fn clustering(days: [&[u64]; 2]) -> f64 {
    let (mut sum, mut freedom) = (0.0, 0.0);
    for days in days {
        let mean = days.iter().sum::<u64>() as f64 / days.len().max(1) as f64;
        if days.len() > 1 && mean > 0.0 {
            sum += days.iter().map(|n| (*n as f64 - mean).powi(2) / mean).sum::<f64>();
            freedom += days.len() as f64 - 1.0;
        }
    }
    if freedom > 0.0 { (sum / freedom).max(1.0) } else { 1.0 }
}

fn log_probability(k: u64, n: u64, share: f64) -> f64 {
    let (k, n) = (k as f64, n as f64);
    let choose = libm::lgamma(n + 1.0) - libm::lgamma(k + 1.0) - libm::lgamma(n - k + 1.0);
    let times = |count: f64, share: f64| if count == 0.0 { 0.0 } else { count * share.ln() };
    choose + times(k, share) + times(n - k, 1.0 - share)
}

/// Two-sided p of `k` of `n`: all outcomes no likelier than it.
fn binomial(k: u64, n: u64, share: f64) -> f64 {
    // Outcomes as likely but for rounding count as well.
    let most = log_probability(k, n, share) + 1e-7;
    let p = (0..=n).map(|i| log_probability(i, n, share)).filter(|log| *log <= most);
    p.map(f64::exp).sum::<f64>().min(1.0)
}

/// Exact interval of a share.
fn clopper_pearson(k: u64, n: u64, confidence: f64) -> (f64, f64) {
    let tail = (1.0 - confidence) / 2.0;
    let up_to =
        |k: u64, share: f64| -> f64 { (0..=k).map(|i| log_probability(i, n, share).exp()).sum() };
    let solve = |below: &dyn Fn(f64) -> bool| {
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if below(middle) { low = middle } else { high = middle }
        }
        f64::midpoint(low, high)
    };
    let low = if k == 0 { 0.0 } else { solve(&|share| 1.0 - up_to(k - 1, share) < tail) };
    let high = if k == n { 1.0 } else { solve(&|share| up_to(k, share) > tail) };
    (low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_scipy() {
        // scipy 1.17.1: binomtest(k, n, p).pvalue and .proportion_ci(0.95, "exact").
        let near = |a: f64, b: f64| (a - b).abs() < 1e-6;
        assert!(near(binomial(12, 40, 0.4), 0.258_275_383_9));
        assert!(near(binomial(0, 9, 0.3), 0.065_648_449_0));
        assert!(binomial(140, 200, 0.5) < 2e-8 && binomial(140, 200, 0.5) > 1e-8);
        let (low, high) = clopper_pearson(12, 40, 0.95);
        assert!(near(low, 0.165_627_204) && near(high, 0.465_316_285), "{low} {high}");
        assert!(near(clopper_pearson(0, 9, 0.95).1, 0.336_267_117));
    }

    #[test]
    fn rates_are_set_against_their_time() {
        let twice =
            compare(Counted { count: 100, days: 5.0 }, Counted { count: 80, days: 2.0 }, 1.0);
        let twice = twice.unwrap();
        assert!((twice.ratio - 2.0).abs() < 1e-12);
        assert!(twice.p < 1e-4 && twice.interval.0 > 1.4 && twice.interval.1 < 2.8);
        let clustered =
            compare(Counted { count: 100, days: 5.0 }, Counted { count: 80, days: 2.0 }, 20.0);
        assert!(clustered.unwrap().p > 0.1, "counts in clusters are worth less");
        assert_eq!(
            compare(Counted { count: 0, days: 1.0 }, Counted { count: 0, days: 1.0 }, 1.0),
            None
        );
    }

    #[test]
    fn clusters_are_told_from_the_days() {
        assert_eq!(clustering([&[10, 10, 10], &[3, 3]]), 1.0);
        assert!(clustering([&[0, 30, 0, 30], &[]]) > 10.0);
        assert_eq!(clustering([&[7], &[]]), 1.0);
    }
}
