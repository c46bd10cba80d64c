package access

import (
	"context"
	"net/url"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/access/credential"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/replay"
	"github.com/pikepole/pikepole/services/platform/store"
)

// signInPath is where the pages take a one-time code.
const signInPath = "/signin?code="

// CreateKey makes a key for a person. The key itself is in this answer and nowhere else: a repeat of the request is
// refused, since it could only be answered by making another.
func (s *Service) CreateKey(ctx context.Context, req *accessv1.CreateKeyRequest) (*accessv1.Key, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	if err := checkName("key.label", req.GetKey().GetLabel()); err != nil {
		return nil, err
	}
	secret := credential.NewKey()
	k, err := once(ctx, s, caller, accessv1.AccessService_CreateKey_FullMethodName, req, func(ctx context.Context, tx *store.Tx) (apiKey, error) {
		return s.addKey(ctx, tx, caller.Company, req.GetKey().GetPerson(), req.GetKey().GetLabel(), secret)
	})
	if err != nil {
		return nil, err
	}
	made := renderKey(k)
	made.ApiKey = secret.String()
	return made, nil
}

// withRequestID is a request that a client can make safe to repeat.
type withRequestID interface {
	proto.Message
	GetRequestId() string
}

// once makes a secret the first time and refuses a repeat. Nothing of the answer is kept.
func once[T any](ctx context.Context, s *Service, caller identity.Caller, method string, req withRequestID,
	fn func(ctx context.Context, tx *store.Tx) (T, error),
) (T, error) {
	made, err := write(ctx, s.db, func(ctx context.Context, tx *store.Tx) (made T, err error) {
		err = replay.OnceOnly(ctx, tx, caller, method, req.GetRequestId(), req, func() error {
			made, err = fn(ctx, tx)
			return err
		})
		return made, err
	})
	if fault.HasReason(err, replay.ReasonSpent) {
		err = fault.New(fault.Conflict, ReasonAlreadyShown,
			"This request was answered before, and its secret is shown once; if the answer was lost, make another under a new request id.").Wrap(err)
	}
	return made, err
}

// addKey makes a key for a person of the company who may sign in.
func (s *Service) addKey(ctx context.Context, tx *store.Tx, company, person, label string, secret credential.Key) (apiKey, error) {
	if _, err := findEnabled(ctx, tx, company, person); err != nil {
		return apiKey{}, err
	}
	k := apiKey{
		ID: secret.ID, Company: company, Person: person, Label: label, Hash: credential.Hash(secret.String()), Created: s.now(),
	}
	if err := insertKey(ctx, tx, k); err != nil {
		return apiKey{}, err
	}
	return k, tell(ctx, tx, company, keyMade, k.ID, renderKey(k))
}

func findEnabled(ctx context.Context, tx *store.Tx, company, id string) (person, error) {
	if !plainID(id) {
		return person{}, personNotFound(id)
	}
	p, err := findPerson(ctx, tx, company, id)
	if err == nil && p.Disabled {
		err = fault.New(fault.Precondition, ReasonPersonDisabled, "%s may not sign in; let them sign in again first.", p.Name)
	}
	return p, err
}

// CreateSignInLink makes a one-time link for a person. Like a key, its code is in this answer and nowhere else.
func (s *Service) CreateSignInLink(ctx context.Context, req *accessv1.CreateSignInLinkRequest) (*accessv1.SignInLink, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	code := credential.NewHandle()
	expires, err := once(ctx, s, caller, accessv1.AccessService_CreateSignInLink_FullMethodName, req, func(ctx context.Context, tx *store.Tx) (time.Time, error) {
		return s.addLink(ctx, tx, caller.Company, req.GetPerson(), code)
	})
	if err != nil {
		return nil, err
	}
	return &accessv1.SignInLink{Person: req.GetPerson(), Code: code, Path: SignInPath(code), ExpireTime: timestamppb.New(expires)}, nil
}

// SignInPath is where a one-time code is redeemed, to be put behind the address of the pages.
func SignInPath(code string) string { return signInPath + url.QueryEscape(code) }

func (s *Service) addLink(ctx context.Context, tx *store.Tx, company, person, code string) (expires time.Time, err error) {
	p, err := findEnabled(ctx, tx, company, person)
	if err != nil {
		return time.Time{}, err
	}
	now := s.now()
	expires = now.Add(linkLife)
	if err := insertLink(ctx, tx, credential.Hash(code), company, p.ID, now, expires); err != nil {
		return time.Time{}, err
	}
	return expires, tell(ctx, tx, company, linkMade, p.ID, &accessv1.SignInLink{Person: p.ID, ExpireTime: timestamppb.New(expires)})
}

// ListKeys lists the keys of the caller's company by id, revoked ones among them.
func (s *Service) ListKeys(ctx context.Context, req *accessv1.ListKeysRequest) (*accessv1.ListKeysResponse, error) {
	keys, next, err := list(ctx, s, keyList, req, listKeys, func(k apiKey) string { return k.ID })
	if err != nil {
		return nil, err
	}
	res := &accessv1.ListKeysResponse{NextPageToken: next}
	for _, k := range keys {
		res.Keys = append(res.Keys, renderKey(k))
	}
	return res, nil
}

// DeleteKey revokes a key. Revoking it again is fine and leaves the time at which it was revoked.
func (s *Service) DeleteKey(ctx context.Context, req *accessv1.DeleteKeyRequest) (*emptypb.Empty, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	if err := s.RevokeKey(ctx, caller.Company, req.GetKey()); err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, nil
}
