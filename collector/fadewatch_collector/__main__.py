"""Start the collector's command line."""

from fadewatch_collector.cli.main import main

if __name__ == "__main__":
    main(prog_name="fadewatch-collector")
