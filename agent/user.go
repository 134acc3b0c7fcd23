package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	web "pumpside/exporter/page"
)

func userCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "user",
		Short: "Say who may change things on the page",
		Args:  cobra.NoArgs,
	}
	c.AddCommand(userAdd(), userList(), userRemove())
	return c
}

// usersFile finds the users file of a configuration.
func usersFile(config string) (string, error) {
	c, err := loadConfig(config)
	if err != nil {
		return "", err
	}
	if c.Page.UsersFile == "" {
		return "", errors.New("page.listen is off: there is no page to sign in to")
	}
	return c.Page.UsersFile, nil
}

func userAdd() *cobra.Command {
	c := &cobra.Command{
		Use:   "add NAME",
		Short: "Add a user, or give one a new role and password; asks for the password, or reads a line",
		Args:  asUsed,
	}
	config := configFlag(c)
	role := c.Flags().String("role", "operator", "viewer, operator (acknowledge, shelve) or technician (service too)")
	c.RunE = func(c *cobra.Command, args []string) error {
		r, known := web.RoleNamed(*role)
		if !known {
			return fmt.Errorf("--role is %q; use viewer, operator or technician", *role)
		}
		path, err := usersFile(*config)
		if err != nil {
			return err
		}
		password, err := askPassword(c.InOrStdin(), c.ErrOrStderr(), args[0])
		if err != nil {
			return err
		}
		if err := web.AddUser(path, args[0], r, password); err != nil {
			return err
		}
		_, err = fmt.Fprintf(c.OutOrStdout(), "%s may sign in as %v\n", args[0], r)
		return err
	}
	return c
}

// askPassword asks twice at a terminal; otherwise it takes the first line.
func askPassword(in io.Reader, out io.Writer, name string) (string, error) {
	file, ok := in.(*os.File)
	if !ok || !term.IsTerminal(int(file.Fd())) {
		line, err := bufio.NewReader(io.LimitReader(in, 4096)).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "", err
		}
		return strings.TrimRight(line, "\r\n"), nil
	}
	var typed [2]string
	for i, prompt := range []string{"Password for " + name + ": ", "Once more: "} {
		fmt.Fprint(out, prompt)
		text, err := term.ReadPassword(int(file.Fd()))
		fmt.Fprintln(out)
		if err != nil {
			return "", err
		}
		typed[i] = string(text)
	}
	if typed[0] != typed[1] {
		return "", errors.New("the two passwords differ; nothing was changed")
	}
	return typed[0], nil
}

func userList() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List the users and their roles", Args: cobra.NoArgs}
	config, asJSON := configFlag(c), c.Flags().Bool("json", false, "print JSON")
	c.RunE = func(c *cobra.Command, _ []string) error {
		path, err := usersFile(*config)
		if err != nil {
			return err
		}
		users, err := web.ReadUsers(path)
		if err != nil {
			return err
		}
		type row struct {
			Name     string `json:"name"`
			Role     string `json:"role"`
			Outdated bool   `json:"password_outdated,omitempty"`
		}
		rows := []row{}
		for _, u := range users {
			rows = append(rows, row{u.Name, u.Role.String(), u.Outdated()})
		}
		return printed(c.OutOrStdout(), *asJSON, rows, func(w io.Writer) {
			if len(rows) == 0 {
				fmt.Fprintln(w, "no users; add one with pumpside user add NAME")
			}
			for _, r := range rows {
				fmt.Fprintf(w, "%s\t%s", r.Name, r.Role)
				if r.Outdated {
					fmt.Fprintf(w, "\tcannot sign in: set the password again with pumpside user add %s --role %s", r.Name, r.Role)
				}
				fmt.Fprintln(w)
			}
		})
	}
	return c
}

func userRemove() *cobra.Command {
	c := &cobra.Command{Use: "remove NAME", Short: "Remove a user; open sessions end at once", Args: asUsed}
	config := configFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		path, err := usersFile(*config)
		if err != nil {
			return err
		}
		if err := web.RemoveUser(path, args[0]); err != nil {
			return err
		}
		_, err = fmt.Fprintf(c.OutOrStdout(), "%s may not sign in any more\n", args[0])
		return err
	}
	return c
}
