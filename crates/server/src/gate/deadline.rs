//! The deadline of a call.

use std::time::Duration;

use http::HeaderMap;
use tokio::time::Instant;

/// Answered so much before the caller's deadline, so that the answer says `DEADLINE_EXCEEDED`:
/// the transport below has a timer of its own, which answers `CANCELLED`.
const MARGIN: Duration = Duration::from_millis(5);

/// When the caller stops waiting; set only where he said so.
#[derive(Clone, Copy, Debug)]
pub(crate) struct CallDeadline(pub(crate) Instant);

impl CallDeadline {
    pub(super) fn after(limit: Duration) -> Self {
        Self(Instant::now() + limit)
    }

    /// Waits until it has passed; for ever where there is none.
    pub(crate) async fn passed(deadline: Option<Self>) {
        match deadline {
            Some(Self(at)) => tokio::time::sleep_until(at).await,
            None => std::future::pending().await,
        }
    }
}

/// The time that the caller gives, less a margin. At most 8 digits and a unit ("gRPC over
/// HTTP/2", `Timeout`); anything else is as if nothing were said.
pub(super) fn asked(headers: &HeaderMap) -> Option<Duration> {
    let text = headers.get("grpc-timeout")?.to_str().ok()?;
    let (digits, unit) = text.split_at_checked(text.len().checked_sub(1)?)?;
    if digits.len() > 8 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let n: u64 = digits.parse().ok()?;
    let limit = match unit {
        "H" => Duration::from_secs(n * 3600),
        "M" => Duration::from_secs(n * 60),
        "S" => Duration::from_secs(n),
        "m" => Duration::from_millis(n),
        "u" => Duration::from_micros(n),
        "n" => Duration::from_nanos(n),
        _ => return None,
    };
    // A timer far beyond the life of this process serves as well, and cannot overflow.
    Some(limit.min(Duration::from_secs(366 * 86_400)).saturating_sub(MARGIN))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: gRPC over HTTP/2, "Timeout": TimeoutValue of at most 8 digits, units H M S m u n.
    #[test]
    fn timeouts_are_read_as_the_protocol_says() {
        let read = |text: &str| {
            let mut headers = HeaderMap::new();
            headers.insert("grpc-timeout", text.parse().unwrap());
            asked(&headers)
        };
        assert_eq!(read("2S"), Some(Duration::from_millis(1995)));
        assert_eq!(read("105m"), Some(Duration::from_millis(100)));
        assert_eq!(read("1n"), Some(Duration::ZERO));
        assert_eq!(read("99999999H"), read("90000000H"));
        for bad in ["", "S", "-1S", "1", "1s", "100000000S", "1.5S"] {
            assert_eq!(read(bad), None, "{bad}");
        }
        assert_eq!(asked(&HeaderMap::new()), None);
    }
}
