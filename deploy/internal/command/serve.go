package command

import (
	"context"
	"errors"

	"go.uber.org/zap"

	"github.com/pikepole/pikepole/deploy/internal/config"
	"github.com/pikepole/pikepole/deploy/internal/run"
)

type serve struct {
	Services []string `arg:"" optional:"" help:"What to serve: access, frames, takeoff, rigging, sequencing, sitelog, gateway. Without names: everything."`
	config.Settings
}

// Run serves until ctx ends or a part stops by itself.
func (s *serve) Run(ctx context.Context, call Call) error {
	logger, err := newLogger(call.Stderr, s.LogLevel)
	if err != nil {
		return err
	}
	parts, err := config.Serves(s.Services)
	if err != nil {
		return err
	}
	suite, err := run.Start(ctx, run.Config{Parts: parts, Settings: s.Settings, Logger: logger})
	if err != nil {
		return err
	}
	logger.Info("serving", zap.Strings("parts", parts), zap.String("url", suite.URL), zap.String("grpc", suite.GRPC), zap.String("admin_url", suite.AdminURL))
	return untilStopped(ctx, suite, s.Settings, logger)
}

// untilStopped waits for the end of ctx or of something that should be serving, and stops
// the suite within the time that calls under way have.
func untilStopped(ctx context.Context, suite *run.Suite, s config.Settings, logger *zap.Logger) error {
	var failed error
	select {
	case <-ctx.Done():
		logger.Info("stopping")
	case <-suite.Failed():
		failed = errors.New("a part stopped serving by itself")
	}
	stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.StopTimeout)
	defer cancel()
	err := errors.Join(failed, suite.Stop(stopping))
	logger.Info("stopped", zap.Error(err))
	return err
}
