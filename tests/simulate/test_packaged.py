from skyglint.path.geodesy import geodesic
from skyglint.simulate import demo_files, load_scenario
from skyglint.site import load_site


def test_demo_site_and_scenario_agree():
    site_file, scenario_file = demo_files()
    site, scenario = load_site(site_file), load_scenario(scenario_file)
    channels = {channel.name: channel for channel in site.channel}
    assert sorted(channel.role for channel in site.channel) == ["guard", "reference", "target", "target"]
    assert site.receiver.sample_rate_hz == scenario.recording.sample_rate_hz
    assert site.receiver.center_frequency_hz == scenario.recording.center_frequency_hz
    for station in scenario.transmitter:
        channel = channels[station.channel]
        assert (channel.frequency_hz, channel.rds_pi) == (station.frequency_hz, station.rds_pi)
        if channel.latitude_deg is not None and channel.longitude_deg is not None:
            place = site.site
            path = geodesic(place.latitude_deg, place.longitude_deg, channel.latitude_deg, channel.longitude_deg)
            assert abs(float(path.distance_m) / 1e3 - station.distance_km) < 1
