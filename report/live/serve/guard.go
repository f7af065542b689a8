package serve

import (
	"crypto/subtle"
	"net"
	"net/http"
	"slices"
	"sync"
	"time"
)

// guard lets only the operator's own browsers in. The terminal shows an address
// with a one-time token; opening it exchanges the token for a cookie.
type guard struct {
	cookie string
	token  func() string
	now    func() time.Time

	mu       sync.Mutex
	offers   []offer
	sessions []string // the newest last
}

// offer is a one-time token.
type offer struct {
	token string
	until time.Time
}

const (
	maxSessions = 64 // browsers that may be let in; the oldest goes first
	maxOffers   = 16
)

// newGuard names the cookie after the port: browsers send a cookie to every port
// of a machine, and two benches on it must not replace each other's.
func newGuard(hosts []string, token func() string, now func() time.Time) *guard {
	port := "0"
	if len(hosts) > 0 {
		if _, p, err := net.SplitHostPort(hosts[0]); err == nil {
			port = p
		}
	}
	return &guard{cookie: "quietmount_" + port, token: token, now: now}
}

// offer returns a token that lets one browser in, once, while it is valid.
func (g *guard) offer(valid time.Duration) string {
	g.mu.Lock()
	defer g.mu.Unlock()
	t := g.token()
	g.offers = append(g.offers, offer{t, g.now().Add(valid)})
	if n := len(g.offers) - maxOffers; n > 0 {
		g.offers = slices.Delete(g.offers, 0, n)
	}
	return t
}

// redeem exchanges a token for a session; false if the token is unknown, used
// or expired.
func (g *guard) redeem(token string) (session string, ok bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := g.now()
	g.offers = slices.DeleteFunc(g.offers, func(o offer) bool { return now.After(o.until) })
	at := -1
	for i, o := range g.offers {
		if same(o.token, token) {
			at = i
		}
	}
	if at < 0 {
		return "", false
	}
	g.offers = slices.Delete(g.offers, at, at+1)
	session = g.token()
	g.sessions = append(g.sessions, session)
	if n := len(g.sessions) - maxSessions; n > 0 {
		g.sessions = slices.Delete(g.sessions, 0, n)
	}
	return session, true
}

// knows reports whether a request carries the cookie of a session.
func (g *guard) knows(r *http.Request) bool {
	c, err := r.Cookie(g.cookie)
	if err != nil {
		return false
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	found := false
	for _, s := range g.sessions {
		found = same(s, c.Value) || found
	}
	return found
}

// same compares in a time that does not depend on how much agrees.
func same(a, b string) bool {
	return a != "" && subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1
}

// enter exchanges the token of an offered address for a cookie and redirects to
// the address without it; false if the token does not count.
func (g *guard) enter(w http.ResponseWriter, r *http.Request) bool {
	session, ok := g.redeem(r.URL.Query().Get("token"))
	if !ok {
		return false
	}
	http.SetCookie(w, &http.Cookie{
		Name: g.cookie, Value: session, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode,
	})
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return true
}
