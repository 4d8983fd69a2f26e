"""The bench rig's devices made with pymodbus, a general-purpose Modbus library from PyPI.

Usage: pymodbus_rig.py FIELD_LINK MOTION_LINK

Serves the field I/O module on one pseudo-terminal and the drive and the inverter on another, and
leaves a link to each where it was asked. Registers hold plausible values; nothing moves. It shares
nothing with the project: what `evenpass rig check` reads from it was framed by another library.
"""

import asyncio
import os
import pty
import sys
import threading
import tty

from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice


def relay(source, sink):
    """Carries bytes from one pseudo-terminal to the other, as a cable does."""
    while True:
        data = os.read(source, 256)
        if not data:
            return
        os.write(sink, data)


def cable(link):
    """A pair of joined pseudo-terminals: the near end is linked, the far end is returned."""
    near_master, near_slave = pty.openpty()
    far_master, far_slave = pty.openpty()
    for end in (near_slave, far_slave):
        tty.setraw(end)
    for source, sink in ((near_master, far_master), (far_master, near_master)):
        threading.Thread(target=relay, args=(source, sink), daemon=True).start()
    if os.path.islink(link):
        os.unlink(link)
    os.symlink(os.ttyname(near_slave), link)
    # The near slave stays open here so that the controller may come and go.
    return os.ttyname(far_slave)


def registers(values, size=0x400):
    """Holding or input registers from address 0."""
    cells = [0] * size
    for address, value in values.items():
        cells[address] = value
    return [SimData(0, values=cells, datatype=DataType.REGISTERS)]


def bits(level):
    """Coils or discrete inputs from address 0."""
    return [SimData(0, values=[level] * 64, datatype=DataType.BITS)]


def device(unit, holding, discrete=False, inputs=None):
    """A device with distinct blocks: coils, discrete inputs, holding and input registers."""
    return SimDevice(
        unit, (bits(False), bits(discrete), registers(holding), registers(inputs or {}))
    )


def field():
    milliampere_4 = {address: 4000 for address in range(10)}
    return device(1, {0: 200, 1: 1}, discrete=True, inputs=milliampere_4)


def drive():
    return device(1, {0x0100: 0x0250, 0x020C: 200, 0x020D: 2})


def inverter():
    return device(2, {0x0020: 0x0011, 0x0012: 1000, 0x0013: 1, 0x0014: 120})


async def serve(port, devices):
    # A pseudo-terminal has no parity bit to set.
    server = ModbusSerialServer(devices, port=port, baudrate=115200, parity="N")
    await server.serve_forever(background=True)
    return server


async def main():
    field_port, motion_port = cable(sys.argv[1]), cable(sys.argv[2])
    # Kept here: a server that nobody holds is gone.
    servers = [
        await serve(field_port, [field()]),
        await serve(motion_port, [drive(), inverter()]),
    ]
    # Only now: what is asked before a server listens is lost.
    print("serving", flush=True)
    await asyncio.gather(*(server.serving for server in servers))


if __name__ == "__main__":
    asyncio.run(main())
