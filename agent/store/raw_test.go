package store

import (
	"context"
	"database/sql"
)

// withRaw runs statements on the file at path outside any store.
func withRaw(path, statements string) error {
	ctx := context.Background()
	return withConn(ctx, address(path, ""), func(conn *sql.Conn) error {
		_, err := conn.ExecContext(ctx, statements)
		return err
	})
}
