//! Who is let in: the person's own browser, by the secret in the address, and no page from elsewhere.
//!
//! A server on the loopback address can be reached by every program of the machine and, through the browser, by every page the person
//! has open. Against the first stands the secret; against the second the checks of `Host` (a name that was made to point here),
//! `Origin` and `Sec-Fetch-Site` (a request another page makes), as RFC 9110 and the Fetch standard define them.

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderName};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};

/// What the page may load: only what this server gives it.
const POLICY: &str = "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; connect-src 'self'; base-uri 'none'; \
     form-action 'none'; frame-ancestors 'none'";

/// Headers of every answer.
const HEADERS: [(HeaderName, &str); 5] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "no-referrer"),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    ),
];

/// A secret of 128 bits in hexadecimal, from the system's own source.
pub(super) fn secret() -> String {
    let bits: u128 = rand::random();
    format!("{bits:032x}")
}

/// The names this server goes by.
#[derive(Clone, Debug)]
pub(super) struct Door {
    hosts: [String; 2],
}

impl Door {
    /// For a port of the loopback address.
    pub(super) fn new(port: u16) -> Self {
        Self {
            hosts: [format!("127.0.0.1:{port}"), format!("localhost:{port}")],
        }
    }

    /// Whether a request may come from the person's own page, or from the address they typed.
    fn lets_in(&self, method: &Method, headers: &HeaderMap) -> bool {
        let text = |name: HeaderName| headers.get(name).map(HeaderValue::to_str);
        let host = match text(header::HOST) {
            Some(Ok(host)) if self.hosts.iter().any(|own| own == host) => host,
            _ => return false,
        };
        let own_origin = match text(header::ORIGIN) {
            Some(Ok(origin)) => origin.strip_prefix("http://") == Some(host),
            Some(Err(_)) => false,
            // Browsers leave it out where nothing is changed.
            None => method == Method::GET || method == Method::HEAD,
        };
        let site = text(HeaderName::from_static("sec-fetch-site"));
        let own_site = match site {
            None => true,
            Some(site) => matches!(site, Ok("same-origin" | "none")),
        };
        own_origin && own_site
    }
}

/// Turns away what does not belong here, and says to the browser what an answer may do.
pub(super) async fn guard(
    State(door): State<Door>,
    request: Request<Body>,
    next: Next,
) -> Response {
    let mut answer = if door.lets_in(request.method(), request.headers()) {
        next.run(request).await
    } else {
        (StatusCode::FORBIDDEN, "not from here\n").into_response()
    };
    let headers = answer.headers_mut();
    for (name, value) in HEADERS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    if !headers.contains_key(header::CACHE_CONTROL) {
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn secrets_are_long_and_differ() {
        let (a, b) = (secret(), secret());
        assert!(a.len() == 32 && a != b, "{a} {b}");
    }
}
