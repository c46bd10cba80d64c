package access

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/access/credential"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/store"
)

const (
	sessionLife = 12 * time.Hour
	sessionIdle = 2 * time.Hour
	linkLife    = 15 * time.Minute

	shownKey     = "key"
	shownSession = "session"
	shownCode    = "code"
)

// refused is the one answer to whatever is not accepted: it does not tell what exists.
func refused() error {
	return fault.New(fault.Unauthenticated, ReasonRefused,
		"What was shown is not accepted; sign in again, or ask an admin of the company for a new key or link.")
}

// ExchangeKey turns a key into a token.
func (s *Service) ExchangeKey(ctx context.Context, req *accessv1.ExchangeKeyRequest) (*accessv1.Token, error) {
	key, _ := credential.ParseKey(req.GetApiKey())
	h, err := read(ctx, s.db, func(ctx context.Context, tx *store.Tx) (holder, error) { return checkKey(ctx, tx, key) })
	if err := s.judge(shownKey, err); err != nil {
		return nil, err
	}
	s.usage.noteKey(key.ID, s.now())
	return s.token(ctx, h.Caller, "")
}

// checkKey gives the holder of a key that is good. The zero key is good for nothing.
func checkKey(ctx context.Context, tx *store.Tx, key credential.Key) (holder, error) {
	hash, h, found, err := findKey(ctx, tx, key.ID)
	if err != nil {
		return holder{}, err
	}
	if !credential.Matches(key.String(), hash) || !found || h.Disabled {
		return holder{}, refused()
	}
	return h, nil
}

// judge counts whether what was shown was accepted. Trouble of the store is neither.
func (s *Service) judge(shown string, err error) error {
	if err == nil || fault.HasReason(err, ReasonRefused) {
		s.metrics.count(shown, err == nil)
	}
	return err
}

// ExchangeSession turns a session handle into a token.
func (s *Service) ExchangeSession(ctx context.Context, req *accessv1.ExchangeSessionRequest) (*accessv1.Token, error) {
	type found struct {
		session session
		holder  holder
	}
	now := s.now()
	hash := credential.Hash(req.GetSession())
	f, err := read(ctx, s.db, func(ctx context.Context, tx *store.Tx) (found, error) {
		sess, h, there, err := findSession(ctx, tx, hash, now)
		if err != nil {
			return found{}, err
		}
		if !there || h.Disabled || !now.Before(s.usage.lastOf(sess).Add(sessionIdle)) {
			return found{}, refused()
		}
		return found{sess, h}, nil
	})
	if err := s.judge(shownSession, err); err != nil {
		return nil, err
	}
	s.usage.noteSession(hash, now)
	return s.token(ctx, f.holder.Caller, f.session.CSRF)
}

// SignInWithKey starts a session for the holder of a key.
func (s *Service) SignInWithKey(ctx context.Context, req *accessv1.SignInWithKeyRequest) (*accessv1.Session, error) {
	key, _ := credential.ParseKey(req.GetApiKey())
	sess, err := write(ctx, s.db, func(ctx context.Context, tx *store.Tx) (*accessv1.Session, error) {
		h, err := checkKey(ctx, tx, key)
		if err != nil {
			return nil, err
		}
		return s.begin(ctx, tx, h, key.ID)
	})
	if err := s.judge(shownKey, err); err != nil {
		return nil, err
	}
	s.usage.noteKey(key.ID, s.now())
	return sess, nil
}

// RedeemSignInLink uses up a one-time code and starts a session for its person.
func (s *Service) RedeemSignInLink(ctx context.Context, req *accessv1.RedeemSignInLinkRequest) (*accessv1.Session, error) {
	sess, err := write(ctx, s.db, func(ctx context.Context, tx *store.Tx) (*accessv1.Session, error) {
		h, found, err := takeLink(ctx, tx, credential.Hash(req.GetCode()), s.now())
		if err != nil {
			return nil, err
		}
		if !found || h.Disabled {
			return nil, refused()
		}
		return s.begin(ctx, tx, h, "")
	})
	if err := s.judge(shownCode, err); err != nil {
		return nil, err
	}
	return sess, nil
}

// begin starts a session. byKey is the id of the key that was shown, empty for a code: the session ends with its key.
func (s *Service) begin(ctx context.Context, tx *store.Tx, h holder, byKey string) (*accessv1.Session, error) {
	now := s.now()
	handle, csrf := credential.NewHandle(), credential.NewHandle()
	expires := now.Add(sessionLife)
	err := insertSession(ctx, tx, session{
		Hash: credential.Hash(handle), Company: h.Company, Person: h.Person, Key: byKey, CSRF: csrf,
		Created: now, Used: now, Expires: expires,
	})
	if err != nil {
		return nil, err
	}
	return &accessv1.Session{Session: handle, CsrfToken: csrf, ExpireTime: timestamppb.New(expires)}, nil
}

// SignOut ends a session. Signing out of one that has ended, or never was, is fine.
func (s *Service) SignOut(ctx context.Context, req *accessv1.SignOutRequest) (*emptypb.Empty, error) {
	err := s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		return deleteSession(ctx, tx, credential.Hash(req.GetSession()))
	})
	if err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, nil
}

// ListSigningKeys gives the public keys.
func (s *Service) ListSigningKeys(ctx context.Context, _ *accessv1.ListSigningKeysRequest) (*accessv1.ListSigningKeysResponse, error) {
	keys, err := s.ring.public(ctx)
	if err != nil {
		return nil, err
	}
	res := &accessv1.ListSigningKeysResponse{}
	for _, k := range keys {
		res.Keys = append(res.Keys, &accessv1.SigningKey{
			KeyId: k.ID, PublicKey: k.Public, StartTime: timestamppb.New(k.Start), ExpireTime: timestamppb.New(k.Expire),
		})
	}
	return res, nil
}

// GetCaller says for whom the token speaks.
func (s *Service) GetCaller(ctx context.Context, _ *accessv1.GetCallerRequest) (*accessv1.Caller, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, err
	}
	return renderCaller(caller), nil
}

func (s *Service) token(ctx context.Context, c identity.Caller, csrf string) (*accessv1.Token, error) {
	signer, err := s.ring.signer(ctx)
	if err != nil {
		return nil, err
	}
	token, expires, err := signer.Sign(c, s.now())
	if err != nil {
		return nil, err
	}
	return &accessv1.Token{AccessToken: token, ExpireTime: timestamppb.New(expires), Caller: renderCaller(c), CsrfToken: csrf}, nil
}
