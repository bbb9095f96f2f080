"""Servers of their own, which these checks start and end."""

import http.client
import signal
import socket
import subprocess
import time

from client import BINARY, Check


class Lifetime(Check):
    """Servers of their own, which these checks start and end."""

    def start(self):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        address = f"127.0.0.1:{port}"
        process = subprocess.Popen(
            [BINARY, "--listen", address],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self.addCleanup(process.wait)
        self.addCleanup(process.kill)
        for _ in range(100):
            if self.healthy(address):
                return process, address
            time.sleep(0.05)
        self.fail("the server does not answer")

    def healthy(self, address):
        return subprocess.run([BINARY, "--check", "--listen", address], capture_output=True, timeout=10).returncode == 0

    def test_each_of_the_usual_signals_ends_it_in_order(self):
        for signal_ in (signal.SIGTERM, signal.SIGINT):
            with self.subTest(signal_.name):
                process, address = self.start()
                process.send_signal(signal_)
                self.assertEqual(process.wait(timeout=5), 0)
                self.assertFalse(self.healthy(address), "nothing listens any more")

    def test_an_idle_connection_does_not_hold_up_the_end(self):
        process, address = self.start()
        host, port = address.split(":")
        connection = http.client.HTTPConnection(host, int(port), timeout=10)
        connection.request("GET", "/healthz")
        connection.getresponse().read()
        process.send_signal(signal.SIGTERM)
        self.assertEqual(process.wait(timeout=5), 0)
        connection.close()

    def test_a_taken_address_is_an_error_with_words(self):
        _, address = self.start()
        second = subprocess.run(
            [BINARY, "--listen", address], capture_output=True, text=True, timeout=10, stdin=subprocess.DEVNULL
        )
        self.assertNotEqual(second.returncode, 0)
        self.assertIn(address, second.stderr + second.stdout)
        self.assertNotIn("panicked", second.stderr + second.stdout)
