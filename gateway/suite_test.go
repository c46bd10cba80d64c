package gateway_test

import (
	"context"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/pikepole/pikepole/gateway"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sequencingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sequencing/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	takeoffv1 "github.com/pikepole/pikepole/proto/gen/pikepole/takeoff/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
)

const (
	leadKey   = "pk_lead_0001"
	viewerKey = "pk_viewer_0001"
	leadToken = "v1.lead"
	csrfToken = "csrf-of-the-session"
	goodCode  = "one-time-code"
	handle    = "session-handle"
	jobID     = "job-a"
)

// now is the clock of every test: a day of raising.
var now = time.Date(2031, time.May, 14, 15, 4, 5, 0, time.UTC)

// backend is the six services with canned answers. What a test wants otherwise it sets before it
// sends anything.
type backend struct {
	accessv1.UnimplementedAccessServiceServer
	framesv1.UnimplementedFramesServiceServer
	takeoffv1.UnimplementedTakeoffServiceServer
	riggingv1.UnimplementedRiggingServiceServer
	sequencingv1.UnimplementedSequencingServiceServer
	sitelogv1.UnimplementedSitelogServiceServer

	// fail gives the error of a method, by its short name.
	fail map[string]error
	// sticks is how many sticks the frame has.
	sticks int
	// latest is the newest revision; 3 unless set.
	latest int32
	// watch is what the live log sends after the position; it then waits for the end.
	watch []*sitelogv1.Entry
	// ends says that the live log ends after what it sent.
	ends bool
	// lost says that a search fails after its first answer; slow, when not nil, keeps it from its second until it is closed.
	lost bool
	slow chan struct{}
	// falls says that a state of the raising does not stand.
	falls bool
	// cut says that the time was over before the states of the raising were all looked at.
	cut bool
	// states is how many states the raising has; 14 unless set.
	states int32

	mu sync.Mutex
	// calls are the requests by method, the newest last.
	calls map[string][]proto.Message
	// headers are the metadata of the newest call of a method.
	headers map[string]metadata.MD
	// deadlines say whether the newest call of a method had a deadline.
	deadlines map[string]bool
	// entries are the ids that were posted.
	entries map[string]*sitelogv1.Entry
}

// last gives the newest request of a method.
func last[T proto.Message](t *testing.T, b *backend, method string) T {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	calls := b.calls[method]
	if len(calls) == 0 {
		t.Fatalf("%s was not called", method)
	}
	return calls[len(calls)-1].(T)
}

func (b *backend) count(method string) int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.calls[method])
}

// note records a call, asks for a token where one is needed, and gives the error that a test set.
func (b *backend) note(ctx context.Context, fullMethod string, request any) error {
	method := fullMethod[strings.LastIndexByte(fullMethod, '/')+1:]
	md, _ := metadata.FromIncomingContext(ctx)
	_, deadline := ctx.Deadline()
	b.mu.Lock()
	b.headers[method] = md
	b.deadlines[method] = deadline
	if message, ok := request.(proto.Message); ok {
		b.calls[method] = append(b.calls[method], message)
	}
	b.mu.Unlock()
	switch method {
	case "ExchangeKey", "ExchangeSession", "SignInWithKey", "RedeemSignInLink", "SignOut", "Check":
	default:
		if len(md.Get("authorization")) != 1 {
			return status.Errorf(codes.Unauthenticated, "one token is needed, not %v", md.Get("authorization"))
		}
	}
	return b.fail[method]
}

func (b *backend) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if err := b.note(ctx, info.FullMethod, req); err != nil {
		return nil, err
	}
	return handler(ctx, req)
}

func (b *backend) stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	// The services name the request in their header, also when they refuse it.
	if err := ss.SetHeader(metadata.Pairs("x-request-id", "r-1")); err != nil {
		return err
	}
	if err := b.note(ss.Context(), info.FullMethod, nil); err != nil {
		return err
	}
	return handler(srv, ss)
}

// suite is a gateway before a backend.
type suite struct {
	*backend
	gateway  *gateway.Gateway
	server   *httptest.Server
	registry *prometheus.Registry
}

func start(t *testing.T, options ...func(*backend, *gateway.Config)) *suite {
	t.Helper()
	b := &backend{
		fail: map[string]error{}, sticks: 12, latest: 3,
		calls: map[string][]proto.Message{}, headers: map[string]metadata.MD{}, deadlines: map[string]bool{},
		entries: map[string]*sitelogv1.Entry{},
	}
	s := &suite{backend: b, registry: prometheus.NewRegistry()}
	conn := serve(t, b)
	config := gateway.Config{
		Access: conn, Frames: conn, Takeoff: conn, Rigging: conn, Sequencing: conn, Sitelog: conn,
		Registry: s.registry, Now: func() time.Time { return now },
	}
	for _, option := range options {
		option(b, &config)
	}
	var err error
	if s.gateway, err = gateway.New(config); err != nil {
		t.Fatal(err)
	}
	s.server = httptest.NewServer(s.gateway.Handler())
	t.Cleanup(func() {
		s.gateway.Close()
		s.server.Close()
	})
	return s
}

// serve runs the backend in memory and connects to it.
func serve(t *testing.T, b *backend) *grpc.ClientConn {
	t.Helper()
	listener := bufconn.Listen(1 << 20)
	server := grpc.NewServer(grpc.UnaryInterceptor(b.unary), grpc.StreamInterceptor(b.stream), grpc.MaxRecvMsgSize(64<<20))
	accessv1.RegisterAccessServiceServer(server, b)
	framesv1.RegisterFramesServiceServer(server, b)
	takeoffv1.RegisterTakeoffServiceServer(server, b)
	riggingv1.RegisterRiggingServiceServer(server, b)
	sequencingv1.RegisterSequencingServiceServer(server, b)
	sitelogv1.RegisterSitelogServiceServer(server, b)
	grpc_health_v1.RegisterHealthServer(server, health.NewServer())
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	conn, err := grpc.NewClient("passthrough:///memory",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(64<<20)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = conn.Close()
		server.Stop()
		if err := <-served; err != nil {
			t.Errorf("serve the backend: %v", err)
		}
	})
	return conn
}

// answer is a response whose body has been read.
type answer struct {
	*http.Response
	Text string
}

// request is what a test sends.
type request struct {
	method, path, body string
	// key is the lead's unless set; "-" sends none.
	key    string
	header map[string]string
}

func (s *suite) send(t *testing.T, r request) answer {
	t.Helper()
	if r.method == "" {
		r.method = http.MethodGet
	}
	req, err := http.NewRequestWithContext(t.Context(), r.method, s.server.URL+r.path, strings.NewReader(r.body))
	if err != nil {
		t.Fatal(err)
	}
	if r.body != "" {
		req.Header.Set("Content-Type", "application/json")
	}
	switch r.key {
	case "":
		req.Header.Set("Authorization", "Bearer "+leadKey)
	case "-":
	default:
		req.Header.Set("Authorization", "Bearer "+r.key)
	}
	for name, value := range r.header {
		if value == "" {
			req.Header.Del(name)
			continue
		}
		req.Header.Set(name, value)
	}
	return do(t, &http.Client{CheckRedirect: stay}, req)
}

// stay leaves redirects to the test.
func stay(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }

func do(t *testing.T, client *http.Client, req *http.Request) answer {
	t.Helper()
	response, err := client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer{response, string(body)}
}

// browser is a client with cookies that accepts pages.
type browser struct {
	*suite
	client *http.Client
}

func (s *suite) browser(t *testing.T) *browser {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &browser{s, &http.Client{Jar: jar, CheckRedirect: stay}}
}

// signedIn is a browser with a session.
func (s *suite) signedIn(t *testing.T) *browser {
	t.Helper()
	b := s.browser(t)
	u, err := url.Parse(s.server.URL)
	if err != nil {
		t.Fatal(err)
	}
	b.client.Jar.SetCookies(u, []*http.Cookie{{Name: "session", Value: handle, Path: "/"}})
	return b
}

func (b *browser) get(t *testing.T, path string) answer {
	t.Helper()
	return b.do(t, http.MethodGet, path, nil)
}

func (b *browser) post(t *testing.T, path string, form url.Values) answer {
	t.Helper()
	return b.do(t, http.MethodPost, path, form)
}

func (b *browser) do(t *testing.T, method, path string, form url.Values) answer {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, b.server.URL+path, strings.NewReader(form.Encode()))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Accept", "text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,image/webp,*/*;q=0.8")
	if form != nil {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	return do(t, b.client, req)
}

// The access service.

func (b *backend) token(key string) (*accessv1.Token, error) {
	person, roles := "p-1", []accessv1.Role{accessv1.Role_ROLE_LEAD, accessv1.Role_ROLE_ADMIN}
	switch key {
	case leadKey, handle:
	case viewerKey:
		person, roles = "p-2", []accessv1.Role{accessv1.Role_ROLE_VIEWER}
	default:
		return nil, fault.New(fault.Unauthenticated, "KEY_INVALID", "The key is not one of ours.").GRPCStatus().Err()
	}
	token := &accessv1.Token{
		AccessToken: leadToken,
		ExpireTime:  timestamppb.New(now.Add(5 * time.Minute)),
		Caller: &accessv1.Caller{
			Company: "hollow-oak", CompanyName: "Hollow Oak Framers", Person: person, PersonName: "Mara Lindqvist", Roles: roles,
		},
	}
	if key == handle {
		token.CsrfToken = csrfToken
	}
	return token, nil
}

func (b *backend) ExchangeKey(_ context.Context, in *accessv1.ExchangeKeyRequest) (*accessv1.Token, error) {
	return b.token(in.GetApiKey())
}

func (b *backend) ExchangeSession(_ context.Context, in *accessv1.ExchangeSessionRequest) (*accessv1.Token, error) {
	return b.token(in.GetSession())
}

func (b *backend) SignInWithKey(_ context.Context, in *accessv1.SignInWithKeyRequest) (*accessv1.Session, error) {
	if _, err := b.token(in.GetApiKey()); err != nil {
		return nil, err
	}
	return b.session(), nil
}

func (b *backend) RedeemSignInLink(_ context.Context, in *accessv1.RedeemSignInLinkRequest) (*accessv1.Session, error) {
	if in.GetCode() != goodCode {
		return nil, fault.New(fault.Unauthenticated, "LINK_INVALID", "The link was used before or has ended; ask for another.").GRPCStatus().Err()
	}
	return b.session(), nil
}

func (b *backend) session() *accessv1.Session {
	return &accessv1.Session{Session: handle, CsrfToken: csrfToken, ExpireTime: timestamppb.New(time.Now().Add(time.Hour))}
}

func (b *backend) DeleteKey(context.Context, *accessv1.DeleteKeyRequest) (*emptyMessage, error) {
	return &emptyMessage{}, nil
}

func (b *backend) SignOut(context.Context, *accessv1.SignOutRequest) (*emptyMessage, error) {
	return &emptyMessage{}, nil
}

func (b *backend) GetCaller(context.Context, *accessv1.GetCallerRequest) (*accessv1.Caller, error) {
	token, err := b.token(leadKey)
	return token.GetCaller(), err
}

func (b *backend) CreatePerson(_ context.Context, in *accessv1.CreatePersonRequest) (*accessv1.Person, error) {
	return &accessv1.Person{Id: "p-2", Name: in.GetPerson().GetName(), Etag: "1"}, nil
}

func (b *backend) UpdatePerson(_ context.Context, in *accessv1.UpdatePersonRequest) (*accessv1.Person, error) {
	return in.GetPerson(), nil
}

func (b *backend) CreateKey(_ context.Context, in *accessv1.CreateKeyRequest) (*accessv1.Key, error) {
	return &accessv1.Key{Id: "k-2", Person: in.GetKey().GetPerson()}, nil
}
