//! Requests in, those of this desk's own pages on: others are refused. The address of the start page holds a key that becomes a
//! cookie; Host and Origin must be this desk's own; what changes anything carries a token that only its pages know.

use std::sync::Arc;

use anyhow::Result;
use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::header::{
    CONTENT_SECURITY_POLICY, COOKIE, HOST, HeaderName, HeaderValue, LOCATION, ORIGIN,
    REFERRER_POLICY, SET_COOKIE, X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::Response;

/// What pages may do: nothing but what this desk gives them.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; \
                      connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// What only this desk's own pages know.
#[derive(Debug, Clone)]
pub struct Keys {
    /// In the address of the start page, then in the cookie.
    door: String,
    /// In every form.
    pub token: String,
}

impl Keys {
    /// New ones.
    pub fn new() -> Result<Self> {
        let random = || -> Result<String> {
            let mut bytes = [0; 16];
            getrandom::fill(&mut bytes)
                .map_err(|error| anyhow::anyhow!("no random numbers: {error}"))?;
            Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
        };
        Ok(Self {
            door: random()?,
            token: random()?,
        })
    }

    /// The address of the start page.
    pub fn start(&self, port: u16) -> String {
        format!("http://127.0.0.1:{port}/?key={}", self.door)
    }
}

/// What the guard of one desk knows.
#[derive(Debug, Clone)]
pub struct Guard {
    keys: Keys,
    port: u16,
}

impl Guard {
    /// For the desk on that port.
    pub fn new(keys: Keys, port: u16) -> Arc<Self> {
        Arc::new(Self { keys, port })
    }

    /// Cookies do not tell ports apart, so their names do.
    fn cookie(&self) -> String {
        format!("desk-{}", self.port)
    }

    fn hosts(&self) -> [String; 2] {
        ["127.0.0.1", "localhost"].map(|host| format!("{host}:{}", self.port))
    }

    fn judge(&self, request: &Request) -> Result<(), (StatusCode, &'static str)> {
        let text = |name: HeaderName| {
            let value = request.headers().get(name)?;
            value.to_str().ok().map(str::to_owned)
        };
        let own = |host: &str| self.hosts().iter().any(|own| own == host);
        if !text(HOST).is_some_and(|host| own(&host)) {
            return Err((
                StatusCode::MISDIRECTED_REQUEST,
                "this is another host's address",
            ));
        }
        let reads = [Method::GET, Method::HEAD].contains(request.method());
        if !reads && *request.method() != Method::POST {
            return Err((
                StatusCode::METHOD_NOT_ALLOWED,
                "the desk takes GET and POST",
            ));
        }
        let origin = text(ORIGIN);
        let own_origin = |origin: &str| origin.strip_prefix("http://").is_some_and(own);
        match &origin {
            Some(origin) if !own_origin(origin) => {
                return Err((StatusCode::FORBIDDEN, "another page asked for this"));
            }
            None if !reads => {
                return Err((
                    StatusCode::FORBIDDEN,
                    "a change must come from the desk's own page",
                ));
            }
            _ => {}
        }
        let wanted = format!("{}={}", self.cookie(), self.keys.door);
        let cookies = text(COOKIE).unwrap_or_default();
        let known = cookies
            .split(';')
            .any(|cookie| same(cookie.trim(), &wanted));
        if !known {
            return Err((
                StatusCode::FORBIDDEN,
                "open the address that the command printed: it holds the key to this desk",
            ));
        }
        Ok(())
    }

    /// Whether a request brings the key; the answer then sets the cookie and goes to the first page.
    fn enters(&self, request: &Request) -> bool {
        let query = request.uri().query().unwrap_or_default();
        let host = request
            .headers()
            .get(HOST)
            .and_then(|host| host.to_str().ok());
        let own = host.is_some_and(|host| self.hosts().iter().any(|own| own == host));
        let path = request.uri().path();
        own && path == "/"
            && *request.method() == Method::GET
            && same(query, &format!("key={}", self.keys.door))
    }
}

/// Equal, in a time that does not tell where they differ.
pub fn same(a: &str, b: &str) -> bool {
    let differ = a
        .bytes()
        .zip(b.bytes())
        .fold(0, |all, (x, y)| all | (x ^ y));
    a.len() == b.len() && differ == 0
}

/// Lets requests of the desk's own pages through, and says in every answer what its page may do.
pub async fn guard(State(guard): State<Arc<Guard>>, request: Request, next: Next) -> Response {
    let mut response = if guard.enters(&request) {
        let cookie = format!(
            "{}={}; Path=/; HttpOnly; SameSite=Strict",
            guard.cookie(),
            guard.keys.door
        );
        let mut response = plain(StatusCode::SEE_OTHER, "");
        if let Ok(cookie) = HeaderValue::from_str(&cookie) {
            response.headers_mut().insert(SET_COOKIE, cookie);
        }
        let first = HeaderValue::from_static("/");
        response.headers_mut().insert(LOCATION, first);
        response
    } else {
        match guard.judge(&request) {
            Ok(()) => next.run(request).await,
            Err((status, why)) => plain(status, why),
        }
    };
    let headers = response.headers_mut();
    headers
        .entry(CONTENT_SECURITY_POLICY)
        .or_insert(HeaderValue::from_static(POLICY));
    for (name, value) in [
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (X_FRAME_OPTIONS, "DENY"),
        // without any referrer browsers name no origin in their own forms either
        (REFERRER_POLICY, "same-origin"),
        (
            HeaderName::from_static("cross-origin-resource-policy"),
            "same-origin",
        ),
        (
            HeaderName::from_static("cross-origin-opener-policy"),
            "same-origin",
        ),
        (axum::http::header::CACHE_CONTROL, "no-store"),
    ] {
        headers
            .entry(name)
            .or_insert(HeaderValue::from_static(value));
    }
    response
}

fn plain(status: StatusCode, text: &'static str) -> Response {
    let mut response = Response::new(Body::from(text));
    *response.status_mut() = status;
    response
}
