package main

import "github.com/urfave/cli/v2"

// commands are all commands in the order of the job.
func commands(sh shell) []*cli.Command {
	return []*cli.Command{
		demoCommand(sh),
		initCommand(sh),
		verifyCommand(sh),
		templateCommand(sh),
		fieldCommand(sh),
		portsCommand(sh),
		listenCommand(sh),
		roomCommand(sh),
		calibrateCommand(sh),
		surveyCommand(sh),
		benchCommand(sh),
		importCommand(sh),
		mapCommand(sh),
		sourcesCommand(sh),
		whatifCommand(sh),
		rankCommand(sh),
		compareCommand(sh),
		balanceCommand(sh),
		proveCommand(sh),
		arrowCommand(sh),
		swingCommand(sh),
		recordCommand(sh),
		exportCommand(sh),
		completionCommand(sh),
		completeCommand(sh),
	}
}
