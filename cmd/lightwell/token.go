package main

import (
	"fmt"

	"lightwell/alarms/web/access"
	"lightwell/cmd/exit"
)

// tokenCmd makes an access token.
type tokenCmd struct {
	Name string      `arg:"" help:"Whose it is; recorded with everything done with it."`
	Role access.Role `default:"see" help:"see, operate, commission or administer." placeholder:"ROLE"`
}

// Run prints the secret, which is kept nowhere, and the line for the
// configuration, which is no secret.
func (c tokenCmd) Run(s *streams) error {
	if err := access.CheckName(c.Name); err != nil {
		return exit.Usage(err)
	}
	secret := access.NewSecret()
	fmt.Fprintf(s.errOut, "The secret, for %s alone; it is shown this once and kept nowhere:\n", c.Name)
	fmt.Fprintln(s.out, secret)
	fmt.Fprintf(s.errOut, `
For the configuration of the daemon, below tokens; it is no secret:

  - {name: %q, role: %s, hash: %q}

Then reload the daemon.
`, c.Name, c.Role, access.HashOf(secret))
	return nil
}
