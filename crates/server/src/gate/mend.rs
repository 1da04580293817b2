//! Errors that the transport makes by itself, given the form that the contract promises.

use deepbend_contract::reason;
use http::Response;
use tonic::body::Body;
use tonic::{Code, Status};

use crate::error::ServiceError;

/// What the transport says of bytes that are no message: unread, cut short, none, badly packed, or a
/// broken frame of gRPC-Web. A compressed message without its encoding stays an internal error, as
/// the gRPC protocol asks.
const NO_MESSAGE: [&str; 6] = [
    "decode",
    "decoding stream",
    "Missing request message",
    "Error decompressing",
    "invalid compression flag",
    "tonic-web:",
];

/// The response, its error put into form where the transport made it.
pub(super) fn head(response: Response<Body>, max_request_bytes: usize) -> Response<Body> {
    match Status::from_header_map(response.headers()) {
        Some(status) if status.code() != Code::Ok && status.details().is_empty() => {
            mended(status, max_request_bytes).into_http()
        }
        Some(_) | None => response,
    }
}

/// A status, put into form where the transport made it: bytes that are no message, or too many of
/// them. What has no reason in the contract (no such method) stays as it is.
pub(crate) fn mended(status: Status, max_request_bytes: usize) -> Status {
    if !status.details().is_empty() {
        return status;
    }
    let text = status.message();
    match status.code() {
        Code::OutOfRange if text.contains("too large") => {
            let what = "bytes of one message";
            ServiceError::TooLarge { what, limit: max_request_bytes }.into()
        }
        Code::Internal | Code::InvalidArgument
            if NO_MESSAGE.iter().any(|said| text.contains(said)) =>
        {
            let metadata = [("fault_count", "1"), ("first_field", "")];
            reason::INVALID_REQUEST.status("the bytes are no message of the contract", &metadata)
        }
        Code::Internal | Code::Unknown => {
            tracing::error!(text, "an error without a reason");
            ServiceError::Internal.into()
        }
        Code::Ok
        | Code::Cancelled
        | Code::InvalidArgument
        | Code::DeadlineExceeded
        | Code::NotFound
        | Code::AlreadyExists
        | Code::PermissionDenied
        | Code::ResourceExhausted
        | Code::FailedPrecondition
        | Code::Aborted
        | Code::OutOfRange
        | Code::Unimplemented
        | Code::Unavailable
        | Code::DataLoss
        | Code::Unauthenticated => status,
    }
}
