//! Progress bars on long work; nothing where nobody watches.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar of `steps`, titled.
pub fn bar(title: &str, steps: u64) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(steps), ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("{msg:<22} {bar:32} {percent:>3} %  {eta} left")
    {
        bar.set_style(style.progress_chars("=> "));
    }
    bar.set_message(title.to_owned());
    bar
}
