"""The command line: `coldstead`. Everything a server needs besides a browser."""

import json
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from server.settings import settings

app = typer.Typer(
    no_args_is_help=True, add_completion=False, help="The books of shared closed-cycle cryostats."
)


@app.command()
def migrate() -> None:
    """Bring the database to this program's schema, and the newest budgets to its model."""
    from server.cryostats.instruments import recompute_all
    from server.db import make_engine, now, writing
    from server.people.service import CommandLine
    from server.tables import upgrade

    settings().home.mkdir(parents=True, exist_ok=True)
    upgrade(settings().url)
    with writing(make_engine(settings().url)) as session:
        number = recompute_all(session, CommandLine(), now())
        session.commit()
    if number:
        typer.echo(f"{number} heat budgets computed anew; the older ones are kept.")


@app.command()
def serve(host: str = "127.0.0.1", port: int = 8000) -> None:
    """Serve the program over HTTP."""
    import uvicorn

    uvicorn.run(
        "server.app:make_app",
        factory=True,
        host=host,
        port=port,
        proxy_headers=True,
        timeout_graceful_shutdown=3,
        log_level="warning",
    )


@app.command()
def steward(
    login: Annotated[str, typer.Option(prompt=True)],
    name: Annotated[str, typer.Option(prompt=True)],
    password: Annotated[str, typer.Option(prompt=True, hide_input=True, confirmation_prompt=True)],
    laboratory: str = "Our laboratory",
    zone: str = "UTC",
) -> None:
    """Make a steward, and the laboratory when there is none yet."""
    from server.cautions.service import seed
    from server.db import make_engine, now, writing
    from server.errors import Problem
    from server.laboratory.service import set_up
    from server.people.service import first_steward

    with writing(make_engine(settings().url)) as session:
        try:
            set_up(session, laboratory, zone)
            seed(session)
            first_steward(session, name=name, login=login, password=password, at=now())
        except Problem as problem:
            _fail("; ".join([problem.message, *problem.fields.values()]))
        session.commit()
    typer.echo(f"{login} may sign in now.")


@app.command()
def demo() -> None:
    """Fill an empty database with the invented demo laboratory."""
    from server.db import make_engine, now, writing
    from server.demo.story import fill

    with writing(make_engine(settings().url)) as session:
        told = fill(session, now(), settings().home)
        session.commit()
    typer.echo(told)


@app.command()
def mail() -> None:
    """Hand over the letters that wait, each at most once; off until COLDSTEAD_MAIL_HOST is set."""
    from server.db import make_engine, now
    from server.mail import rules, sender

    if not settings().mail_host:
        _fail("No mail is sent: COLDSTEAD_MAIL_HOST is not set.")
    found = sender.send(make_engine(settings().url), settings(), now)
    for state, number in sorted(found.items()):
        typer.echo(f"{number}: {rules.WORDS[state]}")
    if not found:
        typer.echo("Nothing waits.")


@app.command()
def backup(to: Path) -> None:
    """Copy database and files into one archive, while the server runs."""
    from server.archive import write_archive

    try:
        lost = write_archive(settings(), to)
    except OSError as problem:
        _fail(f"Not written: {problem}")
    typer.echo(f"{to} written.")
    if lost:
        _fail(f"{len(lost)} files could not be taken along: {', '.join(lost)}")


@app.command()
def restore(archive: Path) -> None:
    """Bring an archive back into an empty COLDSTEAD_HOME (and an empty database)."""
    from server.archive import read_archive

    try:
        read_archive(settings(), archive)
    except (OSError, ValueError) as problem:
        _fail(str(problem))
    typer.echo("Restored.")


@app.command()
def remind() -> None:
    """Report silent channels, write the letters of the day that are due, hand over what waits; for cron."""
    from server.db import make_engine, now
    from server.notices import digest

    silent = digest.watch(make_engine(settings().url), now())
    typer.echo(f"{silent} faults were opened for channels that fell silent.")
    if not settings().mail_host:
        _fail("No mail is sent: COLDSTEAD_MAIL_HOST is not set.")
    number = digest.remind(make_engine(settings().url), settings(), now)
    typer.echo(f"{number} letters went through the outbox.")


@app.command()
def schema() -> None:
    """Print the JSON schema of the document that `heat` reads."""
    from server.physics.thermal import document

    typer.echo(json.dumps(document.schema(), indent=2, ensure_ascii=False))


@app.command()
def evidence() -> None:
    """Print every published value beside what is computed for it; exit 1 if one is outside its tolerance."""
    from server import heat_text

    text, outside = heat_text.evidence()
    typer.echo(text)
    if outside:
        raise typer.Exit(1)


@app.command()
def heat(file: Path, as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False) -> None:
    """Compute the heat budget of a document, without server or database."""
    from server import heat_text
    from server.physics import thermal
    from server.physics.thermal import document

    try:
        cryostat, elements = document.read(json.loads(file.read_text(encoding="utf-8")))
        budget = thermal.balance(cryostat, elements)
    except RecursionError:
        _fail(f"{file} is nested too deeply to be a document.")
    except (OSError, ValueError) as problem:
        _fail(str(problem))
    typer.echo(json.dumps(document.write_budget(budget), indent=2) if as_json else heat_text.text(budget))


def _fail(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(1)


if __name__ == "__main__":
    app()
