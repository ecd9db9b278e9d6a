//! Who may ask: judged before anything else, from the request's head alone.
//!
//! A page of another site in the same browser can reach the loopback address. It neither knows the
//! token, nor can it send this server's `Origin`; and under a name of its own (DNS rebinding) it
//! sends that name as `Host`.

use axum::http::header::{CONTENT_LENGTH, CONTENT_TYPE, HOST, ORIGIN};
use axum::http::{HeaderMap, Method, StatusCode};

/// Longest body, bytes: the text of a site file and room to spare.
pub const BODY_BYTES_MAX: usize = 64 * 1024;

/// What this server answers to.
#[derive(Clone, Debug)]
pub struct Access {
    token: String,
    hosts: [String; 2],
}

impl Access {
    /// By this token, on this port of the loopback address.
    pub fn new(token: String, port: u16) -> Self {
        Self { token, hosts: [format!("127.0.0.1:{port}"), format!("localhost:{port}")] }
    }

    /// The first part of every path.
    pub fn token(&self) -> &str {
        &self.token
    }

    /// Judges a request.
    ///
    /// # Errors
    ///
    /// The status to answer with; nothing more is to be said.
    pub fn judge(
        &self,
        method: &Method,
        path: &str,
        headers: &HeaderMap,
    ) -> Result<(), StatusCode> {
        let first = path.strip_prefix('/').unwrap_or(path).split('/').next().unwrap_or("");
        if !same(first.as_bytes(), self.token.as_bytes()) {
            return Err(StatusCode::NOT_FOUND);
        }
        let only = |name| {
            let mut values = headers.get_all(name).iter();
            match (values.next(), values.next()) {
                (Some(value), None) => value.to_str().ok(),
                _ => None,
            }
        };
        if !only(HOST).is_some_and(|host| self.hosts.iter().any(|own| own == host)) {
            return Err(StatusCode::FORBIDDEN);
        }
        match *method {
            Method::GET => Ok(()),
            Method::POST => {
                let own = |origin: &str| {
                    origin
                        .strip_prefix("http://")
                        .is_some_and(|host| self.hosts.iter().any(|own| own == host))
                };
                if !only(ORIGIN).is_some_and(own) {
                    return Err(StatusCode::FORBIDDEN);
                }
                let json = |kind: &str| {
                    kind.split(';')
                        .next()
                        .is_some_and(|kind| kind.trim().eq_ignore_ascii_case("application/json"))
                };
                if !only(CONTENT_TYPE).is_some_and(json) {
                    return Err(StatusCode::UNSUPPORTED_MEDIA_TYPE);
                }
                let length = only(CONTENT_LENGTH).and_then(|length| length.parse::<u64>().ok());
                if length.is_some_and(|length| length > BODY_BYTES_MAX as u64) {
                    return Err(StatusCode::PAYLOAD_TOO_LARGE);
                }
                Ok(())
            }
            _ => Err(StatusCode::METHOD_NOT_ALLOWED),
        }
    }
}

/// Compared without a hint by the time it takes, but for the length.
fn same(asked: &[u8], own: &[u8]) -> bool {
    asked.len() == own.len() && asked.iter().zip(own).fold(0, |sum, (a, b)| sum | (a ^ b)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    const TOKEN: &str = "0123456789abcdef0123456789abcdef";

    fn judged(method: &Method, path: &str, headers: &[(&'static str, &str)]) -> u16 {
        let access = Access::new(TOKEN.to_owned(), 4321);
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            map.append(*name, HeaderValue::from_str(value).unwrap());
        }
        access.judge(method, path, &map).map_or_else(|status| status.as_u16(), |()| 200)
    }

    #[test]
    fn only_who_knows_the_token_is_heard() {
        let host = [("host", "127.0.0.1:4321")];
        let get = |path: &str| judged(&Method::GET, path, &host);
        assert_eq!(get(&format!("/{TOKEN}/")), 200);
        assert_eq!(get(&format!("/{TOKEN}")), 200);
        for path in
            ["/", "", "/api/state", "/0123/", &format!("/{TOKEN}0/"), &format!("//{TOKEN}/")]
        {
            assert_eq!(get(path), 404, "{path}");
        }
        // Said before anything else, so that nobody learns that there is something.
        assert_eq!(judged(&Method::DELETE, "/x", &[]), 404);
    }

    #[test]
    fn another_host_name_is_refused() {
        let path = format!("/{TOKEN}/");
        for (host, status) in [
            ("127.0.0.1:4321", 200),
            ("localhost:4321", 200),
            ("127.0.0.1", 403),
            ("127.0.0.1:4322", 403),
            ("evil.example:4321", 403),
            ("127.0.0.1:4321.evil.example", 403),
        ] {
            assert_eq!(judged(&Method::GET, &path, &[("host", host)]), status, "{host}");
        }
        assert_eq!(judged(&Method::GET, &path, &[]), 403);
        let two = [("host", "127.0.0.1:4321"), ("host", "evil.example")];
        assert_eq!(judged(&Method::GET, &path, &two), 403);
    }

    #[test]
    fn an_order_comes_from_the_page_itself_as_json() {
        let path = format!("/{TOKEN}/api/arm");
        let host = ("host", "localhost:4321");
        let own = ("origin", "http://localhost:4321");
        let json = ("content-type", "application/json; charset=utf-8");
        let post = |headers: &[(&'static str, &str)]| judged(&Method::POST, &path, headers);
        assert_eq!(post(&[host, own, json]), 200);
        assert_eq!(post(&[host, json]), 403);
        for origin in ["null", "https://localhost:4321", "http://evil.example", "http://localhost"]
        {
            assert_eq!(post(&[host, ("origin", origin), json]), 403, "{origin}");
        }
        assert_eq!(post(&[host, own]), 415);
        assert_eq!(post(&[host, own, ("content-type", "text/plain")]), 415);
        assert_eq!(post(&[host, own, json, ("content-length", "65537")]), 413);
        for method in [Method::PUT, Method::DELETE, Method::OPTIONS, Method::TRACE, Method::HEAD] {
            assert_eq!(judged(&method, &path, &[host, own, json]), 405, "{method}");
        }
    }
}
