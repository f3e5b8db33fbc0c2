package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
)

// helpTemplate is what a command shows below what it says of itself.
const helpTemplate = `Usage:
  {{if .HasAvailableSubCommands}}{{.CommandPath}} COMMAND{{else}}{{.UseLine}}{{end}}
{{if .HasExample}}
Examples:
{{.Example}}
{{end}}{{range $group := .Groups}}
{{.Title}}:{{range $.Commands}}{{if eq .GroupID $group.ID}}
  {{rpad .Name .NamePadding}} {{.Short}}{{end}}{{end}}
{{end}}{{if .HasAvailableSubCommands}}{{if not .AllChildCommandsHaveGroup}}
{{if .Groups}}Other commands{{else}}Commands{{end}}:{{range .Commands}}{{if and (eq .GroupID "") (or .IsAvailableCommand (eq .Name "help"))}}
  {{rpad .Name .NamePadding}} {{.Short}}{{end}}{{end}}
{{end}}{{end}}{{if .HasAvailableLocalFlags}}
Flags:
{{.LocalFlags.FlagUsagesWrapped WIDTH | trimTrailingWhitespaces}}
{{end}}{{if .HasAvailableInheritedFlags}}
Flags of every command:
{{.InheritedFlags.FlagUsagesWrapped WIDTH | trimTrailingWhitespaces}}
{{end}}{{if .HasAvailableSubCommands}}
{{.CommandPath}} COMMAND --help says more of a command.
{{end}}`

// addGroup adds commands that are listed together under a title.
func addGroup(root *cobra.Command, title string, cmds ...*cobra.Command) {
	root.AddGroup(&cobra.Group{ID: title, Title: title})
	for _, cmd := range cmds {
		cmd.GroupID = title
	}
	root.AddCommand(cmds...)
}

// setHelp gives the root command and all below it their help.
func setHelp(root *cobra.Command) {
	root.SetUsageTemplate(strings.ReplaceAll(helpTemplate, "WIDTH", fmt.Sprint(columns)))
	root.InitDefaultHelpCmd()
	for _, cmd := range root.Commands() {
		if cmd.Name() == "help" {
			cmd.Use, cmd.Short, cmd.Long = "help [COMMAND]", "Show what a command does", "help shows what a command does, with its flags and an example."
			cmd.Example = "  cardwright help prepare"
		}
	}
	root.InitDefaultVersionFlag()
	root.Flags().Lookup("version").Usage = "show which build this is"
	fitHelp(root)
}

// fitHelp breaks what a command and those below it say of themselves at the
// screen's width; what is indented stays as it is.
func fitHelp(cmd *cobra.Command) {
	paragraphs := strings.Split(cmd.Long, "\n\n")
	for i, p := range paragraphs {
		if !strings.HasPrefix(p, " ") && !strings.Contains(p, "\n ") {
			paragraphs[i] = wrapped(strings.ReplaceAll(p, "\n", " "), "")
		}
	}
	cmd.Long = strings.Join(paragraphs, "\n\n")
	cmd.InitDefaultHelpFlag()
	cmd.Flags().Lookup("help").Usage = "show this"
	for _, sub := range cmd.Commands() {
		fitHelp(sub)
	}
}
