//! What the service tells those who run it: one line a call, on stderr, never what was in it.

use tracing_subscriber::EnvFilter;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::{SubscriberInitExt as _, TryInitError};

use crate::config::{Config, LogFormat};

/// Sends the log of this process to stderr, as `log` and `log_format` say.
///
/// # Errors
/// Where this process has a log already.
pub fn init(config: &Config) -> Result<(), TryInitError> {
    // Checked when the configuration was read.
    let filter = EnvFilter::try_new(&config.log).unwrap_or_default();
    let layer = tracing_subscriber::fmt::layer().with_writer(std::io::stderr);
    let registry = tracing_subscriber::registry().with(filter);
    match config.log_format {
        LogFormat::Text => registry.with(layer.with_ansi(false)).try_init(),
        LogFormat::Json => {
            registry.with(layer.json().flatten_event(true).with_span_list(false)).try_init()
        }
    }
}
