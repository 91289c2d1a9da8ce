
using namespace System.Management.Automation
using namespace System.Management.Automation.Language

Register-ArgumentCompleter -Native -CommandName 'twinwhite' -ScriptBlock {
    param($wordToComplete, $commandAst, $cursorPosition)

    $commandElements = $commandAst.CommandElements
    $command = @(
        'twinwhite'
        for ($i = 1; $i -lt $commandElements.Count; $i++) {
            $element = $commandElements[$i]
            if ($element -isnot [StringConstantExpressionAst] -or
                $element.StringConstantType -ne [StringConstantType]::BareWord -or
                $element.Value.StartsWith('-') -or
                $element.Value -eq $wordToComplete) {
                break
        }
        $element.Value
    }) -join ';'

    $completions = @(switch ($command) {
        'twinwhite' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help (see more with ''--help'')')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help (see more with ''--help'')')
            [CompletionResult]::new('-V', '-V ', [CompletionResultType]::ParameterName, 'Print version')
            [CompletionResult]::new('--version', '--version', [CompletionResultType]::ParameterName, 'Print version')
            [CompletionResult]::new('init', 'init', [CompletionResultType]::ParameterValue, 'Begin a watch: four questions, and a commented configuration that is ready for `add` and `run`')
            [CompletionResult]::new('run', 'run', [CompletionResultType]::ParameterValue, 'Watch the folder, judge the stations, raise alerts, until stopped')
            [CompletionResult]::new('add', 'add', [CompletionResultType]::ParameterValue, 'Enter one reading by hand')
            [CompletionResult]::new('ingest', 'ingest', [CompletionResultType]::ParameterValue, 'Take files of readings or events in once, daemon or no daemon; the files stay where they are')
            [CompletionResult]::new('inspect', 'inspect', [CompletionResultType]::ParameterValue, 'The colorimetry of the readings in a file; stores nothing, needs no configuration')
            [CompletionResult]::new('compare', 'compare', [CompletionResultType]::ParameterValue, 'Which of these lamps should a station have, and to what must its screen be calibrated to meet each?')
            [CompletionResult]::new('status', 'status', [CompletionResultType]::ParameterValue, 'Does the match hold at each station, since when, why, and what is there to do?')
            [CompletionResult]::new('history', 'history', [CompletionResultType]::ParameterValue, 'One thing over time: who it is, readings, model, records, and what corrects them')
            [CompletionResult]::new('ageing', 'ageing', [CompletionResultType]::ParameterValue, 'How a lamp or display ages, when it leaves its aim, and how far such dates were right before')
            [CompletionResult]::new('forecast', 'forecast', [CompletionResultType]::ParameterValue, 'State, risk and date of risk ahead')
            [CompletionResult]::new('backtest', 'backtest', [CompletionResultType]::ParameterValue, 'How good were the forecasts on the station''s own past?')
            [CompletionResult]::new('due', 'due', [CompletionResultType]::ParameterValue, 'What is due, by date: overdue first, with the reason of each')
            [CompletionResult]::new('alerts', 'alerts', [CompletionResultType]::ParameterValue, 'All alerts, newest first')
            [CompletionResult]::new('ack', 'ack', [CompletionResultType]::ParameterValue, 'Say that you have taken notice of an alert')
            [CompletionResult]::new('sign', 'sign', [CompletionResultType]::ParameterValue, 'Sign a print off: the match as it stands now goes on record, and a certificate is handed out')
            [CompletionResult]::new('messages', 'messages', [CompletionResultType]::ParameterValue, 'What waits to be told, what was given up, and whether every channel works')
            [CompletionResult]::new('resend', 'resend', [CompletionResultType]::ParameterValue, 'Have messages tried again that were given up')
            [CompletionResult]::new('maintenance', 'maintenance', [CompletionResultType]::ParameterValue, 'Say that something is being worked on: messages about it wait until then, and the record says why')
            [CompletionResult]::new('record', 'record', [CompletionResultType]::ParameterValue, 'Write down something that was done to a device')
            [CompletionResult]::new('retract', 'retract', [CompletionResultType]::ParameterValue, 'Take a wrong record back by a new one; nothing is erased')
            [CompletionResult]::new('release', 'release', [CompletionResultType]::ParameterValue, 'Let a reading count that was held back')
            [CompletionResult]::new('check', 'check', [CompletionResultType]::ParameterValue, 'Are configuration, folders, ledger, time zone, reminders and channels sound?')
            [CompletionResult]::new('desktop', 'desktop', [CompletionResultType]::ParameterValue, 'Show messages on this desktop, as the user who sits at it; the channel ''desktop'' lays them down')
            [CompletionResult]::new('rebuild', 'rebuild', [CompletionResultType]::ParameterValue, 'Make everything that is derived from the ledger anew')
            [CompletionResult]::new('prune', 'prune', [CompletionResultType]::ParameterValue, 'Take the spectra of old readings out of the ledger, where nothing rests on them')
            [CompletionResult]::new('backup', 'backup', [CompletionResultType]::ParameterValue, 'Write the whole ledger into one file, also while `run` works, and check it')
            [CompletionResult]::new('restore', 'restore', [CompletionResultType]::ParameterValue, 'Put a backup in place: where there is no ledger, or where the ledger is its beginning')
            [CompletionResult]::new('audit', 'audit', [CompletionResultType]::ParameterValue, 'The ledger: is it whole and unchanged, and how does somebody outside know?')
            [CompletionResult]::new('demo', 'demo', [CompletionResultType]::ParameterValue, 'An invented print room: two simulated years in seconds, then yours to look around in')
            break
        }
        'twinwhite;init' {
            [CompletionResult]::new('--dir', '--dir', [CompletionResultType]::ParameterName, 'The folder to begin in; made if it is not there [default: this one]')
            [CompletionResult]::new('--display', '--display', [CompletionResultType]::ParameterName, 'The screen: name, white, level')
            [CompletionResult]::new('--lamp', '--lamp', [CompletionResultType]::ParameterName, 'The lamp: name, white, level, kind')
            [CompletionResult]::new('--paper', '--paper', [CompletionResultType]::ParameterName, 'The paper: name, and its white or what sort it is')
            [CompletionResult]::new('--folder', '--folder', [CompletionResultType]::ParameterName, 'The folder where readings will be dropped')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;run' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--new-ledger', '--new-ledger', [CompletionResultType]::ParameterName, 'Begin a new ledger although the archive is not empty; the first entry says so')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;add' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;ingest' {
            [CompletionResult]::new('--device', '--device', [CompletionResultType]::ParameterName, 'The device of all readings in files that name none')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;inspect' {
            [CompletionResult]::new('--only', '--only', [CompletionResultType]::ParameterName, 'Only the reading with this id')
            [CompletionResult]::new('--svg', '--svg', [CompletionResultType]::ParameterName, 'Draw spectra and hue shifts into this file')
            [CompletionResult]::new('--tables', '--tables', [CompletionResultType]::ParameterName, 'The tables of ISO 23603, if you own them, as CSV: nm,standard_1…5,d50_1…5')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--full', '--full', [CompletionResultType]::ParameterName, 'Every figure of every reading, also where there are many')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;compare' {
            [CompletionResult]::new('--station', '--station', [CompletionResultType]::ParameterName, 'The station that needs a lamp')
            [CompletionResult]::new('--as-of', '--as-of', [CompletionResultType]::ParameterName, 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;status' {
            [CompletionResult]::new('--as-of', '--as-of', [CompletionResultType]::ParameterName, 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time')
            [CompletionResult]::new('--known-at', '--known-at', [CompletionResultType]::ParameterName, 'Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of --as-of the earlier of both counts')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--exit-code', '--exit-code', [CompletionResultType]::ParameterName, 'Tell the verdict by the exit code: 0 matched, 10 at-risk, 11 out, 12 unknown')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;history' {
            [CompletionResult]::new('--last', '--last', [CompletionResultType]::ParameterName, 'Only the newest N readings')
            [CompletionResult]::new('--svg', '--svg', [CompletionResultType]::ParameterName, 'Draw readings, model, forecast, events, and what is not used and why, into this file')
            [CompletionResult]::new('--as-of', '--as-of', [CompletionResultType]::ParameterName, 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time')
            [CompletionResult]::new('--known-at', '--known-at', [CompletionResultType]::ParameterName, 'Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of --as-of the earlier of both counts')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;ageing' {
            [CompletionResult]::new('--svg', '--svg', [CompletionResultType]::ParameterName, 'Draw light over age and the way of its white into this file')
            [CompletionResult]::new('--as-of', '--as-of', [CompletionResultType]::ParameterName, 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;forecast' {
            [CompletionResult]::new('--horizon', '--horizon', [CompletionResultType]::ParameterName, 'Days ahead, separated by commas')
            [CompletionResult]::new('--as-of', '--as-of', [CompletionResultType]::ParameterName, 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time')
            [CompletionResult]::new('--known-at', '--known-at', [CompletionResultType]::ParameterName, 'Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of --as-of the earlier of both counts')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;backtest' {
            [CompletionResult]::new('--as-of', '--as-of', [CompletionResultType]::ParameterName, 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;due' {
            [CompletionResult]::new('--within', '--within', [CompletionResultType]::ParameterName, 'Days ahead')
            [CompletionResult]::new('--ics', '--ics', [CompletionResultType]::ParameterName, 'Write the list into this file as iCalendar (RFC 5545), going on from what the file held before')
            [CompletionResult]::new('--as-of', '--as-of', [CompletionResultType]::ParameterName, 'Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time')
            [CompletionResult]::new('--known-at', '--known-at', [CompletionResultType]::ParameterName, 'Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of --as-of the earlier of both counts')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;alerts' {
            [CompletionResult]::new('--known-at', '--known-at', [CompletionResultType]::ParameterName, 'Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of --as-of the earlier of both counts')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--open', '--open', [CompletionResultType]::ParameterName, 'Only those that are not cleared')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;ack' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;sign' {
            [CompletionResult]::new('--job', '--job', [CompletionResultType]::ParameterName, 'What was approved: a name or number of the house')
            [CompletionResult]::new('--file', '--file', [CompletionResultType]::ParameterName, 'The file that was printed; its hash goes on record, not the file')
            [CompletionResult]::new('--override', '--override', [CompletionResultType]::ParameterName, 'Sign although the program objects, and say why')
            [CompletionResult]::new('-o', '-o', [CompletionResultType]::ParameterName, 'The folder for certificate and page')
            [CompletionResult]::new('--out', '--out', [CompletionResultType]::ParameterName, 'The folder for certificate and page')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;messages' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;resend' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--all', '--all', [CompletionResultType]::ParameterName, 'All of them')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;maintenance' {
            [CompletionResult]::new('--until', '--until', [CompletionResultType]::ParameterName, 'When it will be over, at most 90 days ahead: a day, or a local time, or RFC 3339')
            [CompletionResult]::new('--reason', '--reason', [CompletionResultType]::ParameterName, 'What is done')
            [CompletionResult]::new('--end', '--end', [CompletionResultType]::ParameterName, 'End the maintenance with this number now')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--whole-site', '--whole-site', [CompletionResultType]::ParameterName, 'Everything')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;record' {
            [CompletionResult]::new('--at', '--at', [CompletionResultType]::ParameterName, 'When; now if not given. RFC 3339, or local time of the site')
            [CompletionResult]::new('--file', '--file', [CompletionResultType]::ParameterName, 'A file that belongs to it, such as a certificate: the ledger keeps its digest. Keep the file yourself')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;retract' {
            [CompletionResult]::new('--reason', '--reason', [CompletionResultType]::ParameterName, 'Why')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;release' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;check' {
            [CompletionResult]::new('--send', '--send', [CompletionResultType]::ParameterName, 'Send a test message through this channel and do nothing else')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;desktop' {
            [CompletionResult]::new('--folder', '--folder', [CompletionResultType]::ParameterName, 'The folder of messages [default: that of the configuration''s channel]')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--once', '--once', [CompletionResultType]::ParameterName, 'Look once and end')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;rebuild' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;prune' {
            [CompletionResult]::new('--spectra-before', '--spectra-before', [CompletionResultType]::ParameterName, 'Of readings made before this: a day, or a local time, or RFC 3339')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--yes', '--yes', [CompletionResultType]::ParameterName, 'Do it, and not only say what would go')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;backup' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;restore' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;audit' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('verify', 'verify', [CompletionResultType]::ParameterValue, 'Recompute every hash, every signed head and every derived table; or check a certificate, anywhere')
            [CompletionResult]::new('show', 'show', [CompletionResultType]::ParameterValue, 'The entries of the ledger in words, all or those that fit')
            [CompletionResult]::new('export', 'export', [CompletionResultType]::ParameterValue, 'The whole ledger as text: JSON Lines, CSV and signed heads, with the description that another checker needs')
            [CompletionResult]::new('head', 'head', [CompletionResultType]::ParameterValue, 'The newest signed head and its short code, to be kept outside; signs one where there is news')
            [CompletionResult]::new('prove', 'prove', [CompletionResultType]::ParameterValue, 'A certificate of one entry: the entry, its proof, a signed head and the key in one file')
            [CompletionResult]::new('key', 'key', [CompletionResultType]::ParameterValue, 'The key that signs heads: show it, replace it, or give it up')
            break
        }
        'twinwhite;audit;verify' {
            [CompletionResult]::new('--head', '--head', [CompletionResultType]::ParameterName, 'A signed head that was kept elsewhere, or its short code; more than once for several')
            [CompletionResult]::new('--key', '--key', [CompletionResultType]::ParameterName, 'The verifier key that was kept elsewhere, for a certificate')
            [CompletionResult]::new('--file', '--file', [CompletionResultType]::ParameterName, 'A print file: is it the one that was signed off under this certificate?')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;audit;show' {
            [CompletionResult]::new('--device', '--device', [CompletionResultType]::ParameterName, 'Only what names this display, lamp, paper or instrument')
            [CompletionResult]::new('--station', '--station', [CompletionResultType]::ParameterName, 'Only what names this station')
            [CompletionResult]::new('--job', '--job', [CompletionResultType]::ParameterName, 'Only the sign-offs of this job')
            [CompletionResult]::new('--by', '--by', [CompletionResultType]::ParameterName, 'Only what this operator did')
            [CompletionResult]::new('--kind', '--kind', [CompletionResultType]::ParameterName, 'Only entries of this kind, like sign-off, reading, event, retract, verdict or alert')
            [CompletionResult]::new('--from', '--from', [CompletionResultType]::ParameterName, 'Only what was written at that time or later; a day means its beginning')
            [CompletionResult]::new('--until', '--until', [CompletionResultType]::ParameterName, 'Only what was written by that time; a day means its end')
            [CompletionResult]::new('--last', '--last', [CompletionResultType]::ParameterName, 'Only the last of them')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;audit;export' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;audit;head' {
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;audit;prove' {
            [CompletionResult]::new('--head', '--head', [CompletionResultType]::ParameterName, 'A file with a signed head that somebody kept; the certificate then shows that it is of the same history')
            [CompletionResult]::new('-o', '-o', [CompletionResultType]::ParameterName, 'The file to write. Of a sign-off its page for people is written beside it, of the same name but .html')
            [CompletionResult]::new('--out', '--out', [CompletionResultType]::ParameterName, 'The file to write. Of a sign-off its page for people is written beside it, of the same name but .html')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;audit;key' {
            [CompletionResult]::new('--rotate', '--rotate', [CompletionResultType]::ParameterName, 'Replace it, and say why; the old key must still be there')
            [CompletionResult]::new('--lost', '--lost', [CompletionResultType]::ParameterName, 'It is gone, or somebody else may have it: replace it, and say why')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('--json', '--json', [CompletionResultType]::ParameterName, 'Answer in JSON, numbers unrounded')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
        'twinwhite;demo' {
            [CompletionResult]::new('--dir', '--dir', [CompletionResultType]::ParameterName, 'The folder to make; must not exist or be empty [default: a new temporary folder]')
            [CompletionResult]::new('--config', '--config', [CompletionResultType]::ParameterName, 'The configuration file [default: ./twinwhite.toml, else the user''s, else the system''s]')
            [CompletionResult]::new('--operator', '--operator', [CompletionResultType]::ParameterName, 'Who is doing this, one of the configuration''s operators; goes into the ledger [default: the login name, marked as that]')
            [CompletionResult]::new('-h', '-h', [CompletionResultType]::ParameterName, 'Print help')
            [CompletionResult]::new('--help', '--help', [CompletionResultType]::ParameterName, 'Print help')
            break
        }
    })

    $completions.Where{ $_.CompletionText -like "$wordToComplete*" } |
        Sort-Object -Property ListItemText
}
