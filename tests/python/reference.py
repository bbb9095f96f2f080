"""The numbers of the running server, worked out a second time in another language with general-purpose libraries.

    BASE_URL=http://127.0.0.1:8080 python reference.py

Every check asks the API, takes the complete input that the answer repeats, works out the same quantities with numpy,
scipy or uncertainties by a method of its own (a root finder where the server has a closed form, an integrator where it
has a solution), and compares. Nothing here is copied from the server's sources. The input is the example of the
interface description with some values changed, so that a new required field does not break a check.
"""

import sys

import numpy
import scipy
import uncertainties

# Each adds its checks to the list.
import check_balancing  # noqa: F401
import check_charge_counting  # noqa: F401
import check_conformity  # noqa: F401
import check_channel_states  # noqa: F401
import check_converter  # noqa: F401
import check_dc_link  # noqa: F401
import check_discharge  # noqa: F401
import check_divider  # noqa: F401
import check_isolation  # noqa: F401
import check_precharge  # noqa: F401
import check_precharge_bleeder  # noqa: F401
import check_precharge_heat  # noqa: F401
import check_profile  # noqa: F401
import check_protection  # noqa: F401
import check_race  # noqa: F401
import check_race_inside  # noqa: F401
import check_race_link  # noqa: F401
import check_race_parts  # noqa: F401
import check_ripple  # noqa: F401
import check_safety  # noqa: F401
import check_safety_demand  # noqa: F401
import check_safety_events  # noqa: F401
import check_safety_follow  # noqa: F401
import check_safety_inserted  # noqa: F401
import check_safety_kinds  # noqa: F401
import check_safety_modes  # noqa: F401
import check_safety_pairs  # noqa: F401
import check_safety_promises  # noqa: F401
import check_safety_second  # noqa: F401
import race_model  # noqa: F401
import check_shunt  # noqa: F401
import check_thermistor  # noqa: F401
import check_thermistor_states  # noqa: F401
import check_told_twice  # noqa: F401
import check_trip_curve  # noqa: F401
import check_uncertainty  # noqa: F401
import event_thresholds  # noqa: F401
import threshold_designs  # noqa: F401
import harness

if __name__ == "__main__":
    print(f"numpy {numpy.__version__}, scipy {scipy.__version__}, uncertainties {uncertainties.__version__}")
    sys.exit(not harness.run())
