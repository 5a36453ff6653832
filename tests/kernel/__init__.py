"""Fadewatch on a real kernel.

A stock Debian kernel boots in QEMU on a laptop whose firmware this package writes:
packs and bays as ACPI control-method batteries, SMBIOS tables, drives. What the
kernel shows of them is then read by the real agent, in the guest, and sent to a
real collector on this machine.

``packs``       what a test says about packs and bays
``firmware``    the ACPI table made of it
``smbios``      what a test says about the laptop, and the tables made of it
``bay``         the page of memory through which a pack is pulled or fitted
``packages``    Debian's packages, fetched
``archive``     the guest's file system as an initramfs archive
``image``       kernel and base file system, built once and cached
``systemd_layer`` systemd and dpkg, laid over it for the tests that install a package
``machine``     boots, runs one command, brings back what it said
``agent``       the agent as it is put into a guest
``situations``  the laptops that tests and recordings share
``record``      saves what a kernel shows as a tree under ``tests/fixtures/sysfs``

It runs where ``qemu-system-x86`` and ``acpica-tools`` are installed and ``apt-get
download`` can fetch Debian 12's packages once; elsewhere the tests are skipped with
the reason. The built image stays in ``FADEWATCH_KERNEL_CACHE``, or in the folder for
caches of the user who runs it.
"""
