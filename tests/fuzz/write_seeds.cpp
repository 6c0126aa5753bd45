// SPDX-License-Identifier: MIT
// write_seeds FOLDER: good inputs for the libFuzzer targets to bend, one sub-folder per target,
// made by the code that writes such files so that they cannot go stale.
#include "shared/sync/standards.hpp"
#include "shared/wire/frame.hpp"
#include "tests/unit/record/example_record.hpp"
#include <filesystem>
#include <fstream>
#include <iostream>

using namespace yokedock;

namespace {

using Bytes = std::string;

class Seeds {
  public:
    explicit Seeds(std::filesystem::path folder) : folder_(std::move(folder)) {}
    void add(const std::string& target, const Bytes& bytes) {
        std::filesystem::create_directories(folder_ / target);
        std::ofstream out(folder_ / target / ("seed" + std::to_string(++count_)), std::ios::binary);
        out << bytes;
        if (!out.flush()) {
            throw std::runtime_error("cannot write below " + folder_.string());
        }
    }

  private:
    std::filesystem::path folder_;
    int count_ = 0;
};

/// As device_fuzz takes a request: kind, size, fields.
template <class Request> Bytes request(wire::MessageKind kind, const Request& fields) {
    std::uint8_t payload[wire::kMaxPayloadBytes];
    const std::size_t size = wire::write_fields(fields, payload, sizeof(payload));
    Bytes out{static_cast<char>(kind), static_cast<char>(size)};
    return out.append(reinterpret_cast<const char*>(payload), size);
}

Bytes session() {
    wire::CaptureSettings capture{};
    capture.line_edge_mode = 3;
    capture.field_edge_mode = 3;
    capture.adc_prescale_log2 = 5;
    capture.entries = 1;
    capture.schedule[0] = {0, 100, 16, 60};
    wire::IdentifyRequest identify{};
    identify.protocol = wire::kProtocolVersion;
    wire::GuardLimits guard{};
    wire::Calibration calibration{};
    for (std::size_t i = 0; i < wire::kGuardChannels; ++i) {
        guard.high[i] = guard.start_high[i] = 1000;
        calibration.gain[i] = 1000000;
    }
    guard.rail_off = guard.rail_up = 20; // the converter of the device in memory reads 0
    guard.start_ms = guard.settle_ms = 500;
    guard.retrace_ms = 100;
    guard.strikes = 1;
    calibration.serial = 1;
    wire::ReadBlocksRequest read{};
    read.count = 20;
    return request(wire::MessageKind::identify, identify) +
           request(wire::MessageKind::set_sync, sync::kStandards[0].settings) +
           request(wire::MessageKind::sync_output, wire::SyncOutput{1}) +
           request(wire::MessageKind::start_capture, capture) +
           request(wire::MessageKind::status, wire::Empty{}) +
           request(wire::MessageKind::read_blocks, read) +
           request(wire::MessageKind::stop_capture, wire::Empty{}) +
           request(wire::MessageKind::set_guard, guard) +
           request(wire::MessageKind::power_on, wire::PowerStage{1}) +
           request(wire::MessageKind::power, wire::Empty{}) +
           request(wire::MessageKind::power_off, wire::Empty{}) +
           request(wire::MessageKind::step_load, wire::StepSettings{1, 40000, 40000, 5, 20}) +
           request(wire::MessageKind::power_off, wire::Empty{}) +
           request(wire::MessageKind::write_calibration, calibration) +
           request(wire::MessageKind::store_state, wire::Empty{}) +
           request(wire::MessageKind::read_calibration, wire::Empty{}) +
           request(wire::MessageKind::echo, wire::SyncOutput{7});
}

Bytes frame() {
    const std::uint8_t payload[] = {0, 1, 2, 0, 3};
    std::uint8_t scratch[wire::kMaxFrameBytes];
    std::uint8_t out[wire::kMaxEncodedBytes];
    const std::size_t size =
        wire::encode_frame(wire::MessageKind::echo, 9, payload, sizeof(payload), scratch, out);
    return {reinterpret_cast<const char*>(out), size};
}

/// One block of each kind, each after its length.
Bytes blocks() {
    Bytes out;
    for (std::uint8_t kind = 1; kind <= 4; ++kind) {
        wire::BlockHead head{};
        head.sequence = kind;
        head.kind = kind;
        head.count = 2;
        head.base_time = 1000;
        std::uint8_t bytes[wire::wire_size<wire::BlockHead>()];
        const std::size_t size = wire::write_fields(head, bytes, sizeof(bytes));
        const Bytes words(16, '\1');
        out += static_cast<char>(size + words.size());
        out.append(reinterpret_cast<const char*>(bytes), size) += words;
    }
    return out;
}

/// An AVR program of two bytes at address 0.
Bytes elf() {
    Bytes out(84, '\0');
    const auto put = [&out](std::size_t at, std::initializer_list<int> values) {
        for (const int value : values) {
            out[at++] = static_cast<char>(value);
        }
    };
    put(0, {0x7F, 'E', 'L', 'F', 1, 1, 1});
    put(16, {2, 0, 83, 0, 1});  // executable, EM_AVR
    put(28, {52});              // program headers begin here
    put(40, {52, 0, 32, 0, 1}); // their size and number
    put(52, {1, 0, 0, 0, 84});  // PT_LOAD, at this offset of the file
    put(52 + 16, {2});          // bytes in the file
    return out + "\xFF\xCF";    // rjmp to itself
}

void write_all(Seeds& seeds) {
    seeds.add("frame_decoder_fuzz", frame());
    seeds.add("block_decoder_fuzz", blocks());
    seeds.add("device_fuzz", session());
    seeds.add("elf_image_fuzz", elf());
    seeds.add("record_reader_fuzz", record::to_json_text(example_record()));
    seeds.add("record_reader_fuzz", record::to_json_text(example_import()));
    seeds.add("profile_fuzz", R"({"schema":1,"name":"a","standard":"525/59.94",)"
                              R"("vertical":{"visible_from_us":1300,"visible_to_us":16500},)"
                              R"("horizontal":{"visible_from_us":9,"intended_s_q":0.5,)"
                              R"("visible_to_us":62}})");
    seeds.add("profile_fuzz", R"({"schema":1,"name":"a","line_rate_hz":15750,"field_rate_hz":60})");
    seeds.add("csv_fuzz", "time_s,v_yoke_a\n0,1\n1e-5,2.5\n2e-5,-3\n");
    seeds.add("csv_fuzz",
              "# scope\n\xEF\xBB\xBFtime_s;\"v_yoke_a\";h_out_v\ns;A;V\n0;1;2\n1;2;3\n");
    for (const char* words :
         {"tcp:[::1]:4100", "serial:/dev/ttyACM0", "unix:/run/b", "15734.2657"}) {
        seeds.add("words_fuzz", words);
    }
    seeds.add("board_fuzz", "ramp.height_ohm=55e3");
}

} // namespace

int main(int argc, char** argv) {
    if (argc != 2) {
        std::cerr << "write_seeds: expected one argument, the folder to write to\n";
        return 2;
    }
    Seeds seeds(argv[1]);
    write_all(seeds);
}
