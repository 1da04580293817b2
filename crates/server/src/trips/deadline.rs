//! When a caller stops waiting.

use tokio::time::{Duration, Instant};
use tonic::metadata::MetadataMap;

/// The deadline that a call brings along, by its `grpc-timeout`; a text that is none is no
/// deadline.
pub(super) fn of(metadata: &MetadataMap) -> Option<Instant> {
    let text = metadata.get("grpc-timeout")?.to_str().ok()?;
    Instant::now().checked_add(timeout(text)?)
}

/// Source: gRPC over HTTP/2, Timeout: at most 8 digits and a unit of H, M, S, m, u, n.
fn timeout(text: &str) -> Option<Duration> {
    let (digits, unit) = text.split_at_checked(text.len().checked_sub(1)?)?;
    if digits.is_empty() || digits.len() > 8 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let value: u64 = digits.parse().ok()?;
    Some(match unit {
        "H" => Duration::from_secs(value * 3600),
        "M" => Duration::from_secs(value * 60),
        "S" => Duration::from_secs(value),
        "m" => Duration::from_millis(value),
        "u" => Duration::from_micros(value),
        "n" => Duration::from_nanos(value),
        _ => return None,
    })
}

/// When the search must end so that the plan can still be written: a fifth of what is left.
pub(super) fn for_search(deadline: Instant) -> Instant {
    let left = deadline.saturating_duration_since(Instant::now());
    deadline.checked_sub(left / 5).unwrap_or(deadline)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: gRPC over HTTP/2, Timeout.
    #[test]
    fn reads_timeouts_as_grpc_writes_them() {
        assert_eq!(timeout("100m"), Some(Duration::from_millis(100)));
        assert_eq!(timeout("2S"), Some(Duration::from_secs(2)));
        assert_eq!(timeout("99999999H"), Some(Duration::from_secs(99_999_999 * 3600)));
        for wrong in ["", "S", "1", "-1S", "123456789S", "1s", "1é"] {
            assert_eq!(timeout(wrong), None, "{wrong}");
        }
    }
}
