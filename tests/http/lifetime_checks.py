"""Servers of their own, which these checks start and end."""

import http.client
import signal
import socket
import subprocess
import time

from client import BINARY, Check


class Servers(Check):
    """Starts servers, and ends them."""

    def start(self, *more):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        address = f"127.0.0.1:{port}"
        process = subprocess.Popen(
            [BINARY, "--listen", address, *more],
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


class Lifetime(Servers):
    """Servers of their own, which these checks start and end."""

    def test_each_of_the_usual_signals_ends_it_in_order(self):
        for signal_ in (signal.SIGTERM, signal.SIGINT):
            with self.subTest(signal_.name):
                process, address = self.start()
                process.send_signal(signal_)
                self.assertEqual(process.wait(timeout=5), 0)
                self.assertFalse(self.healthy(address), "nothing listens any more")

    def test_who_watches_has_a_listener_of_its_own(self):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        _, address = self.start("--watch-listen", f"127.0.0.1:{port}")

        def asked(port, path):
            connection = http.client.HTTPConnection("127.0.0.1", int(port), timeout=10)
            connection.request("GET", path)
            response = connection.getresponse()
            text = response.read().decode()
            connection.close()
            return response.status, text

        main = address.split(":")[1]
        self.assertEqual(asked(main, "/shunt?v=1&shunt.resistance_ohm=50u")[0], 200)
        self.assertEqual([asked(port, path)[0] for path in ("/healthz", "/readyz", "/shunt")], [200, 200, 404])
        status, text = asked(port, "/metrics")
        self.assertEqual(status, 200)
        self.assertIn('sensewright_requests_total{method="GET",route="/shunt",status="200"} 1\n', text)
        self.assertNotIn("50u", text)
        self.assertEqual(asked(main, "/metrics")[0], 404)

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
