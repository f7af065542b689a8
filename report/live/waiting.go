package live

import "context"

// waiting is a way to wait for a computation: Bench.Later for a panel, patiently
// for a picture or an action.
type waiting func(ctx context.Context, key string, compute func() (any, error)) (any, Progress, error)

var _ waiting = (*Bench)(nil).patiently

// patiently is Await in the form of Later.
func (b *Bench) patiently(ctx context.Context, key string, compute func() (any, error)) (any, Progress, error) {
	v, err := b.Await(ctx, key, compute)
	return v, Progress{}, err
}
