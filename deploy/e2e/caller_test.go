package e2e_test

import (
	"context"
	"errors"
	"io"
	"maps"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/pikepole/pikepole/deploy/testkit"
	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	framev1 "github.com/pikepole/pikepole/proto/gen/pikepole/frame/v1"
	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	sitelogv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sitelog/v1"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/policy"
)

// methods are all RPCs of the suite by their full names, as the protos have them.
func methods(t *testing.T) map[string]protoreflect.MethodDescriptor {
	t.Helper()
	found := map[string]protoreflect.MethodDescriptor{}
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		if !strings.HasPrefix(string(f.Package()), "pikepole.") {
			return true
		}
		for i := range f.Services().Len() {
			service := f.Services().Get(i)
			for j := range service.Methods().Len() {
				m := service.Methods().Get(j)
				found["/"+string(service.FullName())+"/"+string(m.Name())] = m
			}
		}
		return true
	})
	if len(found) == 0 {
		t.Fatal("no RPC is known: the walk is wrong")
	}
	return found
}

// invoke calls an RPC, unary or streaming, and returns its first answer.
func invoke(ctx context.Context, t *testing.T, conn *grpc.ClientConn, name string, m protoreflect.MethodDescriptor, request proto.Message) (proto.Message, error) {
	t.Helper()
	kind, err := protoregistry.GlobalTypes.FindMessageByName(m.Output().FullName())
	if err != nil {
		t.Fatal(err)
	}
	answer := kind.New().Interface()
	if !m.IsStreamingServer() {
		return answer, conn.Invoke(ctx, name, request, answer)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	call, err := conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, name)
	if err == nil {
		err = call.SendMsg(request)
	}
	if err == nil {
		err = call.CloseSend()
	}
	if err == nil {
		err = call.RecvMsg(answer)
	}
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return answer, err
}

func empty(t *testing.T, m protoreflect.MethodDescriptor) proto.Message {
	t.Helper()
	kind, err := protoregistry.GlobalTypes.FindMessageByName(m.Input().FullName())
	if err != nil {
		t.Fatal(err)
	}
	return kind.New().Interface()
}

func reason(err error) string {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}

// TestEveryMethodHasItsRule compares the policy tables with the protos: no gap, no leftover.
func TestEveryMethodHasItsRule(t *testing.T) {
	t.Parallel()
	s := testkit.Start(t)
	all := methods(t)
	if diff := difference(slices.Sorted(maps.Keys(all)), slices.Sorted(maps.Keys(s.Policies))); diff != "" {
		t.Errorf("the protos and the policy tables differ: %s", diff)
	}
	for name, m := range all {
		rule := s.Policies[name]
		t.Run(strings.TrimPrefix(name, "/pikepole."), func(t *testing.T) {
			t.Parallel()
			withoutCredentials(t, s, name, m, rule)
			withEachRole(t, s, name, m, rule)
			fromAnotherCompany(t, s, name, m, rule)
		})
	}
}

func difference(want, got []string) string {
	var out []string
	for _, w := range want {
		if !slices.Contains(got, w) {
			out = append(out, "no rule for "+w)
		}
	}
	for _, g := range got {
		if !slices.Contains(want, g) {
			out = append(out, "a rule for "+g+", which is no RPC")
		}
	}
	return strings.Join(out, "; ")
}

func withoutCredentials(t *testing.T, s *testkit.Suite, name string, m protoreflect.MethodDescriptor, rule policy.Rule) {
	t.Helper()
	conn := s.Conn(t, "access", "")
	_, err := invoke(t.Context(), t, conn, name, m, empty(t, m))
	if rule.Public {
		if reason(err) == "NO_CREDENTIALS" {
			t.Errorf("it is public and asks for credentials: %v", err)
		}
		return
	}
	if status.Code(err) != codes.Unauthenticated {
		t.Errorf("without credentials: %v", err)
	}
	for kind, token := range badTokens(t, s) {
		ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+token)
		if _, err := invoke(ctx, t, conn, name, m, empty(t, m)); status.Code(err) != codes.Unauthenticated {
			t.Errorf("with %s token: %v", kind, err)
		}
	}
}

// badTokens are a good token with a sign changed, a cut one, and things that are none.
func badTokens(t *testing.T, s *testkit.Suite) map[string]string {
	t.Helper()
	good := token(t, s, s.Keys["admin"])
	altered := []byte(good)
	if at := len(altered) / 2; altered[at] == 'A' {
		altered[at] = 'B'
	} else {
		altered[at] = 'A'
	}
	return map[string]string{"an altered": string(altered), "a cut": good[:len(good)-4], "an API key as": s.Keys["admin"], "a foreign": "v1.x.y.z"}
}

func token(t *testing.T, s *testkit.Suite, key string) string {
	t.Helper()
	answer, err := accessv1.NewAccessServiceClient(s.Conn(t, "access", "")).ExchangeKey(t.Context(), &accessv1.ExchangeKeyRequest{ApiKey: key})
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetAccessToken()
}

// TestTokensExpire calls with a token that was good a while ago.
func TestTokensExpire(t *testing.T) {
	t.Parallel()
	var later atomic.Int64
	s := testkit.StartAt(t, func() time.Time { return time.Now().Add(time.Duration(later.Load())) })
	conn := s.Conn(t, "access", "")
	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+token(t, s, s.Keys["lead"]))
	call := func() error {
		_, err := accessv1.NewAccessServiceClient(conn).GetCaller(ctx, &accessv1.GetCallerRequest{})
		return err
	}
	if err := call(); err != nil {
		t.Fatal(err)
	}
	later.Store(int64(identity.TokenLife - time.Minute))
	if err := call(); err != nil {
		t.Errorf("a minute before its end: %v", err)
	}
	later.Store(int64(identity.TokenLife + time.Minute))
	if err := call(); status.Code(err) != codes.Unauthenticated {
		t.Errorf("a minute after its end: %v", err)
	}
}

// withEachRole calls with an empty request: who may not call is refused before anyone looks
// at the request, who may call is not refused for it.
func withEachRole(t *testing.T, s *testkit.Suite, name string, m protoreflect.MethodDescriptor, rule policy.Rule) {
	t.Helper()
	if rule.Public {
		return
	}
	if len(rule.Roles) == 0 {
		t.Error("nobody may call it")
	}
	for _, role := range identity.Roles() {
		_, err := invoke(t.Context(), t, s.Conn(t, "access", s.Keys[string(role)]), name, m, empty(t, m))
		may := slices.Contains(rule.Roles, role)
		if denied := status.Code(err) == codes.PermissionDenied; denied == may {
			t.Errorf("as %s, who may call it: %v: %v", role, may, err)
		}
		if status.Code(err) == codes.Unauthenticated || status.Code(err) == codes.Internal || status.Code(err) == codes.Unknown {
			t.Errorf("as %s: %v", role, err)
		}
	}
}

// foreign are the fields that name something of a company, and how a stranger's call with the
// first company's id in them must end.
func foreign(s *testkit.Suite, people, keys []string) map[string]struct{ id, reason string } {
	return map[string]struct{ id, reason string }{
		"job":    {s.Jobs["cabin"], "JOB_NOT_FOUND"},
		"crane":  {"crane-1", "CRANE_NOT_FOUND"},
		"item":   {"spreader-4m", "GEAR_NOT_FOUND"},
		"person": {people[0], "PERSON_NOT_FOUND"},
		"key":    {keys[0], "KEY_NOT_FOUND"},
	}
}

// harmless are the RPCs whose request names nothing of a company. What they answer is the
// caller's own, which the answer's check looks at, or nobody's.
func harmless() []string {
	return []string{
		"GetCaller", "ListPeople", "ListKeys", "ListJobs", "ListCranes", "ListGear", "GetWork", "GetStandRules", "GetBraceStock",
		"RoughOutFrame", "CheckFrame", "CreatePerson", "CreateJob", "PutCrane", "PutGear", "PutWork", "PutStandRules", "PutBraceStock",
	}
}

// fromAnotherCompany calls as the second company's admin with what belongs to the first.
func fromAnotherCompany(t *testing.T, s *testkit.Suite, name string, m protoreflect.MethodDescriptor, rule policy.Rule) {
	t.Helper()
	if rule.Public {
		return
	}
	people, keys := ids(t, s)
	conn := s.Conn(t, "access", s.OtherKey)
	request := empty(t, m)
	want := fill(request.ProtoReflect(), otherFrame(t, s), foreign(s, people, keys))
	if slices.Contains(harmless(), string(m.Name())) {
		answer, err := invoke(t.Context(), t, conn, name, m, empty(t, m))
		if err != nil && status.Code(err) != codes.InvalidArgument {
			t.Errorf("as another company's admin: %v", err)
		}
		for _, secret := range slices.Concat(people, keys, slices.Collect(maps.Values(s.Jobs))) {
			if secret != s.Jobs["woodshed"] && strings.Contains(toText(answer), secret) {
				t.Errorf("another company's admin sees %s in %v", secret, answer)
			}
		}
		return
	}
	if want == "" {
		t.Fatalf("%s names nothing of a company that this test knows: add its field to foreign, or the RPC to harmless", name)
	}
	_, err := invoke(t.Context(), t, conn, name, m, request)
	if status.Code(err) != codes.NotFound || reason(err) != want {
		t.Errorf("with another company's id: %v, reason %s; want not found, %s", err, reason(err), want)
	}
}

func toText(m proto.Message) string {
	if m == nil {
		return ""
	}
	text, err := proto.Marshal(m)
	if err != nil {
		return err.Error()
	}
	return string(text)
}

// fill puts foreign ids into a request, also into the resource that it carries, and adds what
// the service would otherwise refuse first. It returns the reason to expect.
func fill(request protoreflect.Message, frame *framev1.Frame, ids map[string]struct{ id, reason string }) string {
	want := ""
	fields := request.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		name := string(f.Name())
		id, known := ids[name]
		switch {
		case name == "revision" && f.Kind() == protoreflect.StringKind:
			request.Set(f, protoreflect.ValueOfString("latest"))
		case name == "view" && fields.ByName("move") != nil:
			request.Set(f, protoreflect.ValueOfString("sway"))
		case name == "view":
			request.Set(f, protoreflect.ValueOfString("plan"))
		case name == "format":
			request.Set(f, protoreflect.ValueOfString("csv"))
		case name == "move":
			request.Set(f, protoreflect.ValueOfInt32(1))
		case name == "update_mask":
			request.Set(f, protoreflect.ValueOfMessage((&fieldmaskpb.FieldMask{Paths: []string{nameField(fields)}}).ProtoReflect()))
		case name == "frame":
			request.Set(f, protoreflect.ValueOfMessage(frame.ProtoReflect()))
		case name == "entries":
			note := &sitelogv1.Entry{Id: "taken-over", Kind: sitelogv1.EntryKind_ENTRY_KIND_NOTE, Note: "x", OccurTime: timestamppb.Now()}
			request.Mutable(f).List().Append(protoreflect.ValueOfMessage(note.ProtoReflect()))
		case known && f.Kind() == protoreflect.StringKind:
			request.Set(f, protoreflect.ValueOfString(id.id))
			want = id.reason
		case known && f.Kind() == protoreflect.MessageKind:
			if inner := fillResource(request.Mutable(f).Message(), id.id, ids); inner != "" {
				want = inner
			} else {
				want = id.reason
			}
		}
	}
	return want
}

// nameField is the field that an update of this request could change.
func nameField(fields protoreflect.FieldDescriptors) string {
	if fields.ByName("job") != nil {
		return "title"
	}
	return "name"
}

// otherFrame is a good frame: the second company's own.
func otherFrame(t *testing.T, s *testkit.Suite) *framev1.Frame {
	t.Helper()
	frames := framesv1.NewFramesServiceClient(s.Conn(t, "frames", s.OtherKey))
	revision, err := frames.GetFrame(t.Context(), &framesv1.GetFrameRequest{Job: s.Jobs["woodshed"], Revision: "latest"})
	if err != nil {
		t.Fatal(err)
	}
	return revision.GetFrame()
}

// fillResource names a resource by id, or, where a new one is made for somebody, that person.
func fillResource(resource protoreflect.Message, id string, ids map[string]struct{ id, reason string }) string {
	fields := resource.Descriptor().Fields()
	for _, name := range []protoreflect.Name{"title", "name", "label"} {
		if f := fields.ByName(name); f != nil {
			resource.Set(f, protoreflect.ValueOfString("taken over"))
		}
	}
	if f := fields.ByName("person"); f != nil {
		resource.Set(f, protoreflect.ValueOfString(ids["person"].id))
		return ids["person"].reason
	}
	resource.Set(fields.ByName("id"), protoreflect.ValueOfString(id))
	return ""
}

// ids are the ids of the first company's people and keys.
func ids(t *testing.T, s *testkit.Suite) (people, keys []string) {
	t.Helper()
	admin := accessv1.NewAccessServiceClient(s.ConnWith(t, "access", dial.Options{
		PerRPC: identity.Credentials(accessv1.NewAccessServiceClient(s.Conn(t, "access", "")), s.Keys["admin"]),
	}))
	listed, err := admin.ListPeople(t.Context(), &accessv1.ListPeopleRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range listed.GetPeople() {
		people = append(people, p.GetId())
	}
	made, err := admin.ListKeys(t.Context(), &accessv1.ListKeysRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range made.GetKeys() {
		keys = append(keys, k.GetId())
	}
	return people, keys
}

// TestPutsStayInTheCompany puts a crane under an id that another company uses: each keeps its own.
func TestPutsStayInTheCompany(t *testing.T) {
	t.Parallel()
	s := testkit.Start(t)
	ours, theirs := client{s.URL, s.Keys["lead"]}, client{s.URL, s.OtherKey}
	before := ours.do(t, "GET", "/v1/cranes/crane-1", nil)
	refused(t, theirs.do(t, "GET", "/v1/cranes/crane-1", nil), 404)
	mine := []byte(`{"id":"crane-1","name":"Other crane","chartNote":"invented","chartIsInvented":true,"deductionKg":100,"twoBlockMarginMm":1000,
		"boomPivotHeightMm":2000,"machine":"LIFTING_MACHINE_CRANE","chart":[{"boomLengthMm":10000,"radiusMm":3000,"ratedKg":1000}]}`)
	if a := theirs.do(t, "PUT", "/v1/cranes/crane-1", mine); a.status != 200 {
		t.Fatalf("put answers %d: %s", a.status, a.body)
	}
	if after := ours.do(t, "GET", "/v1/cranes/crane-1", nil); string(after.body) != string(before.body) {
		t.Errorf("the other company's put changed ours:\n%s\n%s", before.body, after.body)
	}
}
