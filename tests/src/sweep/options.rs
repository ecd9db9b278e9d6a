//! What a sweep is asked to do, from its command line.

use pumpwitness_site_model::Cause;
use std::str::FromStr;

/// What a sweep is asked to do.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Sites of each cause.
    pub sites_per_cause: u64,
    /// Sound sites.
    pub healthy: u64,
    /// Sites with two causes at once.
    pub two: u64,
    /// Number of the first site; the others follow.
    pub first_seed: u64,
    /// Only these causes; all where empty.
    pub causes: Vec<String>,
    /// Lengths of the records, taken in turn, days.
    pub days: Vec<f64>,
    /// Least severity.
    pub mildest: f64,
    /// Whether each record is also judged made worse.
    pub harms: bool,
    /// Sites of each cause that are visited again and again with rising severity.
    pub ramps: u64,
    /// Severities of such a site.
    pub steps: u64,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            sites_per_cause: 12,
            healthy: 36,
            two: 36,
            first_seed: 1_000,
            causes: Vec::new(),
            days: vec![1.5, 2.0, 3.0, 7.0],
            mildest: 0.25,
            harms: true,
            ramps: 0,
            steps: 8,
        }
    }
}

fn number<T: FromStr>(option: &str, text: &str) -> Result<T, String> {
    text.parse().map_err(|_| format!("{option}: \"{text}\" is not a number; give one"))
}

impl Options {
    /// From the arguments after the program's name.
    ///
    /// # Errors
    /// One line that names the option and what it takes.
    pub fn parse(arguments: &[String]) -> Result<Self, String> {
        let mut options = Self::default();
        let mut rest = arguments.iter();
        while let Some(option) = rest.next() {
            if option == "--no-harms" {
                options.harms = false;
                continue;
            }
            let value = || format!("{option}: give a value behind it");
            let text = rest.next().ok_or_else(value)?;
            match option.as_str() {
                "--sites-per-cause" => options.sites_per_cause = number(option, text)?,
                "--healthy" => options.healthy = number(option, text)?,
                "--two" => options.two = number(option, text)?,
                "--first-seed" => options.first_seed = number(option, text)?,
                "--mildest" => options.mildest = number(option, text)?,
                "--ramps" => options.ramps = number(option, text)?,
                "--steps" => options.steps = number(option, text)?,
                "--days" => {
                    options.days =
                        text.split(',').map(|day| number(option, day)).collect::<Result<_, _>>()?;
                }
                "--cause" => {
                    if !Cause::WORDS.iter().any(|(_, word)| word == text) {
                        let words: Vec<_> = Cause::WORDS.iter().map(|(_, word)| *word).collect();
                        return Err(format!(
                            "--cause: no cause is called \"{text}\"; take one of {}",
                            words.join(", ")
                        ));
                    }
                    options.causes.push(text.clone());
                }
                other => {
                    return Err(format!("{other}: no such option; the file's head lists them"));
                }
            }
        }
        if options.days.iter().any(|days| !(0.05..=400.0).contains(days)) {
            return Err("--days: give lengths from 0.05 to 400 days, such as 1.5,7".to_owned());
        }
        if options.steps < 2 {
            return Err("--steps: give at least 2".to_owned());
        }
        if !(0.0..=1.0).contains(&options.mildest) {
            return Err("--mildest: give a severity from 0 to 1".to_owned());
        }
        Ok(options)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(line: &str) -> Result<Options, String> {
        let words: Vec<String> = line.split_whitespace().map(str::to_owned).collect();
        Options::parse(&words)
    }

    #[test]
    fn options_are_read_by_name() {
        assert_eq!(parse("").unwrap(), Options::default());
        let given =
            parse("--sites-per-cause 3 --healthy 100 --days 1.5,7 --no-harms --cause idle-draw");
        let given = given.unwrap();
        assert_eq!((given.sites_per_cause, given.healthy, given.harms), (3, 100, false));
        assert_eq!((given.days, given.causes), (vec![1.5, 7.0], vec!["idle-draw".to_owned()]));
    }

    #[test]
    fn a_wrong_line_is_told() {
        for line in ["--healthy", "--healthy many", "--cause rust", "5", "--days 0", "--mildest 2"]
        {
            let told = parse(line).unwrap_err();
            assert!(told.contains(line.split(' ').next().unwrap()), "{told}");
        }
    }
}
