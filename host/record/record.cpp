// SPDX-License-Identifier: MIT
#include "host/record/record.hpp"
#include "host/record/json_text.hpp"
#include "host/record/profile_json.hpp"
#include "host/record/raw_json.hpp"

namespace yokedock::record {
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* kFormat = "yokedock record";
constexpr std::size_t kMostTexts = 10'000;
constexpr std::size_t kMostCaptures = 10'000;

std::vector<std::string> texts(const Node& node) {
    std::vector<std::string> out;
    for (const Node& element : node.elements(kMostTexts)) {
        out.push_back(element.text());
    }
    return out;
}

capture::RawMeasurement raw_from_json(const Node& root) {
    capture::RawMeasurement raw;
    raw.bench = bench_from_json(root.at("bench"));
    for (const Node& capture : root.at("captures").elements(kMostCaptures)) {
        raw.captures.push_back(capture_from_json(capture));
    }
    return raw;
}

ImportedData imported_from_json(const Node& root) {
    const Node node = root.at("imported");
    return {texts(node.at("source_files")), observation_from_json(node.at("observation"))};
}

Record record_from_json(const Node& root, ReadContext& context) {
    Record record;
    if (!root.maybe("format") && root.maybe("schema") && root.maybe("name")) {
        context.error = Error{ErrorKind::kFile,
                              "cannot use " + context.file +
                                  " as a record: it looks like a profile, expected a record as "
                                  "yokedock measure writes it; give a profile with --profile"};
        return record;
    }
    const std::string format = root.at("format").text();
    if (format != kFormat) {
        root.at("format").complain('"' + format.substr(0, 40) + '"',
                                   '"' + std::string(kFormat) + '"');
    }
    check_schema(root, kRecordSchema, context);
    record.tool_version = root.at("tool_version").text();
    record.time_utc = root.at("time_utc").text();
    record.standard = root.at("standard").text();
    record.complete = root.at("complete").boolean();
    record.notes = texts(root.at("notes"));
    if (const auto profile = root.maybe("profile")) {
        record.profile = profile_from_json(*profile, context);
    }
    if (const auto power = root.maybe("power")) {
        record.power = power_from_json(*power);
    }
    record.figures = figures_from_json(root.at("figures"));
    if (root.maybe("imported")) {
        record.imported = imported_from_json(root);
    } else {
        record.raw = raw_from_json(root);
        record.raw->complete = record.complete;
    }
    return record;
}

} // namespace

std::string to_json_text(const Record& record) {
    Json out{{"format", kFormat},
             {"schema", kRecordSchema},
             {"tool_version", record.tool_version},
             {"time_utc", record.time_utc},
             {"standard", record.standard},
             {"complete", record.complete},
             {"notes", record.notes},
             {"profile", record.profile ? profile_to_json(*record.profile) : Json(nullptr)},
             {"figures", figures_to_json(record.figures)}};
    if (record.power) {
        out["power"] = power_to_json(*record.power);
    }
    if (record.imported) {
        out["imported"] = {{"source_files", record.imported->source_files},
                           {"observation", observation_to_json(record.imported->observation)}};
    } else if (record.raw) {
        out["bench"] = bench_to_json(record.raw->bench);
        out["captures"] = Json::array();
        for (const capture::RawCapture& raw : record.raw->captures) {
            out["captures"].push_back(capture_to_json(raw));
        }
    }
    return json_text(out);
}

Result<Record> from_json_text(const std::string& text, const std::string& file) {
    if (text.rfind("{\"kind\":", 0) == 0) {
        return Error{ErrorKind::kFile, "cannot use " + file +
                                           " as a record: it is a sweep log, expected a record as "
                                           "yokedock measure writes it; yokedock sweep --from "
                                           "shows a log"};
    }
    const Result<nlohmann::json> document = parse_json(text, file, "record");
    if (!document) {
        return document.error();
    }
    ReadContext context{file, "record", {}};
    Record record = record_from_json(Node(document.value(), context), context);
    if (context.error) {
        return *context.error;
    }
    return record;
}

Status save_record(const Record& record, const std::string& path, IfExists if_exists) {
    return write_file(path, to_json_text(record), if_exists);
}

Result<Record> load_record(const std::string& path) {
    const Result<std::string> text = read_file(path, kMaxRecordBytes, "record");
    if (!text) {
        return text.error();
    }
    return from_json_text(text.value(), path);
}

} // namespace yokedock::record
