package dial

import (
	"context"
	"net"
	"sync"

	"google.golang.org/grpc"
)

// Pipe is a listener in memory: what is dialled on one side is accepted on the other. The
// services of one process talk through it, with the same codec and interceptors as over TCP.
type Pipe struct {
	incoming chan net.Conn
	closed   chan struct{}
	once     sync.Once
}

var _ net.Listener = (*Pipe)(nil)

// NewPipe makes a pipe. Its server side is itself, as a net.Listener.
func NewPipe() *Pipe {
	return &Pipe{incoming: make(chan net.Conn), closed: make(chan struct{})}
}

// Accept waits for the next connection; after Close it is net.ErrClosed.
func (p *Pipe) Accept() (net.Conn, error) {
	select {
	case c := <-p.incoming:
		return c, nil
	case <-p.closed:
		return nil, net.ErrClosed
	}
}

// Close ends the listening, not the connections. It may be called again.
func (p *Pipe) Close() error {
	p.once.Do(func() { close(p.closed) })
	return nil
}

// Addr is a name for logs.
func (p *Pipe) Addr() net.Addr { return pipeAddr{} }

// Dial connects to whoever accepts.
func (p *Pipe) Dial(ctx context.Context) (net.Conn, error) {
	near, far := net.Pipe()
	select {
	case p.incoming <- far:
		return near, nil
	case <-p.closed:
		return nil, net.ErrClosed
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// Conn is a client connection through the pipe.
func (p *Pipe) Conn(o Options) (*grpc.ClientConn, error) {
	return conn("passthrough:///pipe", o, grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		return p.Dial(ctx)
	}))
}

type pipeAddr struct{}

func (pipeAddr) Network() string { return "pipe" }
func (pipeAddr) String() string  { return "pipe" }
