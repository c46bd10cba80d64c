package demo

import (
	"google.golang.org/grpc"

	accessv1 "github.com/pikepole/pikepole/proto/gen/pikepole/access/v1"
	"github.com/pikepole/pikepole/services/platform/dial"
	"github.com/pikepole/pikepole/services/platform/identity"
)

// line is a service that is spoken to in the name of a key; without a key it is nobody's.
type line struct{ service, apiKey string }

// lines keeps one connection for each line.
type lines struct {
	connect func(service string, o dial.Options) (*grpc.ClientConn, error)
	open    map[line]*grpc.ClientConn
}

func (l *lines) get(service, apiKey string) (*grpc.ClientConn, error) {
	to := line{service, apiKey}
	if conn, ok := l.open[to]; ok {
		return conn, nil
	}
	var options dial.Options
	if apiKey != "" {
		access, err := l.get("access", "")
		if err != nil {
			return nil, err
		}
		options.PerRPC = identity.Credentials(accessv1.NewAccessServiceClient(access), apiKey)
	}
	conn, err := l.connect(service, options)
	if err != nil {
		return nil, err
	}
	l.open[to] = conn
	return conn, nil
}

func (l *lines) close() {
	for _, conn := range l.open {
		_ = conn.Close() // nothing is lost: every call has been answered
	}
}
