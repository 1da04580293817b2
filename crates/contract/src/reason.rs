//! Stable reasons of errors, as `fault.proto` lists them, and the statuses that carry them.

use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt as _};

/// The domain of every `ErrorInfo`.
pub const DOMAIN: &str = "deepbend.v1";

macro_rules! reasons {
    ($($(#[$doc:meta])* $name:ident => $code:ident,)*) => {
        $(
            $(#[$doc])*
            pub const $name: Reason = Reason { name: stringify!($name), code: Code::$code };
        )*

        /// All reasons, in the order of `fault.proto`.
        pub const ALL: &[Reason] = &[$($name,)*];
    };
}

/// A stable reason and the code that goes with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reason {
    /// Its name on the wire.
    pub name: &'static str,
    /// Its code.
    pub code: Code,
}

reasons! {
    /// The request has faults; a `BadRequest` names them. Metadata: `fault_count`, `first_field`.
    INVALID_REQUEST => InvalidArgument,
    /// The page token is not one of this service, or belongs to another request. Metadata: `field`.
    PAGE_TOKEN_INVALID => InvalidArgument,
    /// The request id was used before with other content. Metadata: `request_id`.
    REQUEST_ID_REUSED => InvalidArgument,
    /// More than a stated limit. Metadata: `what`, `limit`.
    TOO_LARGE => ResourceExhausted,
    /// The changes after that revision are forgotten. Metadata: `revision`, `floor`.
    REVISION_TOO_OLD => OutOfRange,
    /// No such item. Metadata: `kind`, `id`.
    ITEM_NOT_FOUND => NotFound,
    /// The item has changed since it was read. Metadata: `kind`, `id`, `etag`.
    ETAG_MISMATCH => Aborted,
    /// The deadline of the call passed before the work was done.
    DEADLINE_EXCEEDED => DeadlineExceeded,
    /// The caller gave up.
    CANCELLED => Cancelled,
    /// More calls than the service takes at once.
    OVERLOADED => Unavailable,
    /// The service is about to end.
    SHUTTING_DOWN => Unavailable,
    /// The store does not answer.
    STORE_UNAVAILABLE => Unavailable,
    /// The store holds what it should not.
    STORE_DAMAGED => DataLoss,
    /// The service runs without an inventory.
    NO_INVENTORY => FailedPrecondition,
    /// The caller did not say who he is.
    UNAUTHENTICATED => Unauthenticated,
    /// The caller may not do this.
    PERMISSION_DENIED => PermissionDenied,
    /// An exchange that cannot be held. Metadata: `what`.
    PEER_REFUSED => FailedPrecondition,
    /// A defect of the service.
    INTERNAL => Internal,
}

impl Reason {
    /// An error with this reason. `metadata` has every part of the message that varies.
    #[must_use]
    pub fn status(self, message: impl Into<String>, metadata: &[(&str, &str)]) -> Status {
        Status::with_error_details(self.code, message, self.details(metadata))
    }

    pub(crate) fn details(self, metadata: &[(&str, &str)]) -> ErrorDetails {
        ErrorDetails::with_error_info(self.name, DOMAIN, pairs(metadata))
    }
}

#[allow(clippy::disallowed_types, reason = "the type that tonic-types asks for")]
fn pairs(metadata: &[(&str, &str)]) -> std::collections::HashMap<String, String> {
    metadata.iter().map(|(key, value)| ((*key).to_owned(), (*value).to_owned())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the table in fault.proto, and AIP-193 (reason: [A-Z][A-Z0-9_]+[A-Z0-9], at most 63).
    #[test]
    fn the_contract_lists_the_same_reasons() {
        let text = include_str!("../../../proto/deepbend/v1/fault.proto");
        let rows: Vec<(&str, &str)> = text
            .lines()
            .filter_map(|line| line.strip_prefix("//   "))
            .skip(1)
            .filter_map(|line| {
                let mut words = line.split_whitespace();
                Some((words.next()?, words.next()?))
            })
            .collect();
        assert_eq!(rows.len(), ALL.len());
        for ((name, code), reason) in rows.into_iter().zip(ALL) {
            assert_eq!(name, reason.name);
            assert_eq!(
                code.replace('_', "").to_lowercase(),
                format!("{:?}", reason.code).to_lowercase()
            );
            assert!(name.len() <= 63 && name.bytes().all(|b| b.is_ascii_uppercase() || b == b'_'));
        }
    }

    // Source: AIP-193 (every error has an ErrorInfo with reason, domain and metadata).
    #[test]
    fn a_status_carries_reason_domain_and_metadata() {
        let status = ITEM_NOT_FOUND.status("no rod R99", &[("kind", "rod"), ("id", "R99")]);
        assert_eq!(status.code(), Code::NotFound);
        let info = status.get_details_error_info().unwrap();
        assert_eq!((info.reason.as_str(), info.domain.as_str()), ("ITEM_NOT_FOUND", DOMAIN));
        assert_eq!(info.metadata["id"], "R99");
    }
}
