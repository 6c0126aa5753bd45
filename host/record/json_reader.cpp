// SPDX-License-Identifier: MIT
#include "host/record/json_reader.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

const nlohmann::json kNothing = nullptr;

/// A value in a few words: long texts and structures are not repeated in a message.
std::string brief(const nlohmann::json& value) {
    if (value.is_object()) {
        return "an object";
    }
    if (value.is_array()) {
        return fmt::format("an array of {}", value.size());
    }
    std::string text = value.dump(-1, ' ', true, nlohmann::json::error_handler_t::replace);
    if (text.size() > 40) {
        text = text.substr(0, 37) + "...";
    }
    return text;
}

bool fits(const nlohmann::json& value, std::int64_t lo, std::int64_t hi) {
    if (value.is_number_unsigned()) {
        const auto number = value.get<std::uint64_t>();
        return number <= static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max()) &&
               static_cast<std::int64_t>(number) >= lo && static_cast<std::int64_t>(number) <= hi;
    }
    return value.is_number_integer() && value.get<std::int64_t>() >= lo &&
           value.get<std::int64_t>() <= hi;
}

} // namespace

Node::Node(const nlohmann::json& document, ReadContext& context)
    : at_(&document), context_(&context) {}

void Node::complain(const std::string& is, const std::string& expected) const {
    if (failed()) {
        return;
    }
    if (context_->collect && context_->complaints.size() < kMostComplaints) {
        context_->complaints.push_back({path_, is, expected});
    }
    if (!context_->error) {
        context_->first = {path_, is, expected};
        context_->error = Error{
            ErrorKind::kFile,
            fmt::format("cannot use {} {}: {} is {}, expected {}; the file is damaged or was not "
                        "written for this, so use another copy or correct that value",
                        context_->what, context_->file, path_.empty() ? "the whole file" : path_,
                        is, expected)};
    }
}

std::string Node::in_words() const {
    return brief(*at_);
}

Node Node::nothing(const std::string& path) const {
    Node node(&kNothing, context_, path);
    node.mute_ = true;
    return node;
}

Node Node::absent(const char* key) const {
    return {&kNothing, context_, path_.empty() ? key : path_ + "." + key};
}

Node Node::at(const char* key) const {
    if (failed()) {
        return nothing(path_);
    }
    const std::string path = path_.empty() ? key : path_ + "." + key;
    if (!at_->is_object()) {
        complain(brief(*at_), "an object");
        return nothing(path);
    }
    const auto found = at_->find(key);
    if (found == at_->end()) {
        Node(&kNothing, context_, path).complain("missing", "a value");
        return nothing(path);
    }
    return {&*found, context_, path};
}

std::optional<Node> Node::maybe(const char* key) const {
    if (failed() || !at_->is_object()) {
        return std::nullopt;
    }
    const auto found = at_->find(key);
    if (found == at_->end() || found->is_null()) {
        return std::nullopt;
    }
    return Node(&*found, context_, path_.empty() ? key : path_ + "." + key);
}

std::size_t Node::array_size(std::size_t most) const {
    if (failed()) {
        return 0;
    }
    if (!at_->is_array()) {
        complain(brief(*at_), "an array");
        return 0;
    }
    if (at_->size() > most) {
        complain(brief(*at_), fmt::format("at most {}", most));
        return 0;
    }
    return at_->size();
}

Node Node::element(std::size_t i) const {
    return {&(*at_)[i], context_, fmt::format("{}[{}]", path_, i)};
}

std::vector<Node> Node::elements(std::size_t most) const {
    std::vector<Node> out;
    const std::size_t size = array_size(most);
    for (std::size_t i = 0; i < size; ++i) {
        out.push_back(element(i));
    }
    return out;
}

std::vector<std::pair<std::string, Node>> Node::members(std::size_t most) const {
    std::vector<std::pair<std::string, Node>> out;
    if (failed()) {
        return out;
    }
    if (!at_->is_object() || at_->size() > most) {
        complain(brief(*at_), at_->is_object()
                                  ? fmt::format("an object of at most {} members", most)
                                  : "an object");
        return out;
    }
    for (const auto& [key, value] : at_->items()) {
        out.emplace_back(key, Node(&value, context_, path_.empty() ? key : path_ + "." + key));
    }
    return out;
}

void Node::allow_only(std::initializer_list<const char*> keys) const {
    if (failed()) {
        return;
    }
    if (!at_->is_object()) {
        complain(brief(*at_), "an object");
        return;
    }
    for (const auto& [key, value] : at_->items()) {
        if (std::find_if(keys.begin(), keys.end(),
                         [&key = key](const char* k) { return key == k; }) == keys.end()) {
            std::string known;
            for (const char* k : keys) {
                known += (known.empty() ? "" : ", ") + std::string(k);
            }
            const std::string name =
                nlohmann::json(key.substr(0, 60))
                    .dump(-1, ' ', true, nlohmann::json::error_handler_t::replace);
            complain("holding the unknown key " + name, "only the keys " + known);
            return;
        }
    }
}

std::string Node::text() const {
    if (failed()) {
        return {};
    }
    if (!at_->is_string()) {
        complain(brief(*at_), "a text");
        return {};
    }
    return at_->get<std::string>();
}

bool Node::boolean() const {
    if (failed()) {
        return false;
    }
    if (!at_->is_boolean()) {
        complain(brief(*at_), "true or false");
        return false;
    }
    return at_->get<bool>();
}

double Node::number(double lo, double hi) const {
    if (failed()) {
        return 0;
    }
    const double value = at_->is_number() ? at_->get<double>() : std::nan("");
    if (!std::isfinite(value) || value < lo || value > hi) {
        const bool open =
            lo == std::numeric_limits<double>::lowest() && hi == std::numeric_limits<double>::max();
        complain(brief(*at_), open ? "a number" : fmt::format("a number from {} to {}", lo, hi));
        return 0;
    }
    return value;
}

std::optional<double> Node::number_or_complain(double lo, double hi,
                                               const std::string& expected) const {
    if (failed()) {
        return std::nullopt;
    }
    const double value = at_->is_number() ? at_->get<double>() : std::nan("");
    if (!std::isfinite(value) || value < lo || value > hi) {
        complain(brief(*at_), expected);
        return std::nullopt;
    }
    return value;
}

std::optional<std::string> Node::text_or_complain(const std::string& expected) const {
    if (failed()) {
        return std::nullopt;
    }
    if (!at_->is_string()) {
        complain(brief(*at_), expected);
        return std::nullopt;
    }
    return at_->get<std::string>();
}

std::optional<bool> Node::flag_or_complain(const std::string& expected) const {
    if (failed()) {
        return std::nullopt;
    }
    if (!at_->is_boolean()) {
        complain(brief(*at_), expected);
        return std::nullopt;
    }
    return at_->get<bool>();
}

double Node::number_or_null() const {
    return !failed() && at_->is_null() ? std::nan("") : number();
}

std::vector<double> Node::numbers(std::size_t most) const {
    std::vector<double> out;
    const std::size_t size = array_size(most);
    out.reserve(size);
    for (std::size_t i = 0; i < size; ++i) {
        const nlohmann::json& value = (*at_)[i];
        const double number = value.is_number() ? value.get<double>() : std::nan("");
        if (!std::isfinite(number)) {
            element(i).complain(brief(value), "a number");
            return {};
        }
        out.push_back(number);
    }
    return out;
}

std::int64_t Node::checked_integer(std::int64_t lo, std::int64_t hi) const {
    if (failed()) {
        return lo;
    }
    if (!fits(*at_, lo, hi)) {
        complain(brief(*at_), fmt::format("a whole number from {} to {}", lo, hi));
        return lo;
    }
    return at_->get<std::int64_t>();
}

std::int64_t Node::checked_element(std::size_t i, std::int64_t lo, std::int64_t hi) const {
    if (failed()) {
        return lo;
    }
    const nlohmann::json& value = (*at_)[i];
    if (!fits(value, lo, hi)) {
        element(i).complain(brief(value), fmt::format("a whole number from {} to {}", lo, hi));
        return lo;
    }
    return value.get<std::int64_t>();
}

Result<nlohmann::json> parse_json(const std::string& text, const std::string& file,
                                  const std::string& what) {
    try {
        return nlohmann::json::parse(text);
    } catch (const nlohmann::json::parse_error& error) {
        const auto until = text.begin() + static_cast<std::ptrdiff_t>(
                                              std::min<std::size_t>(error.byte, text.size()));
        const auto line = 1 + std::count(text.begin(), until, '\n');
        return Error{
            ErrorKind::kFile,
            fmt::format("cannot read {} {}: line {} (byte {} of {}) is not JSON, expected a "
                        "complete yokedock {}; the file is cut off or damaged, so use "
                        "another copy",
                        what, file, line, error.byte, text.size(), what)};
    } catch (const nlohmann::json::exception&) { // a number beyond double: out_of_range
        return Error{ErrorKind::kFile,
                     fmt::format("cannot read {} {}: it holds a number too large for any quantity, "
                                 "expected a yokedock {}; the file is damaged, so use another copy",
                                 what, file, what)};
    }
}

void check_schema(const Node& root, int known, ReadContext& context) {
    const int schema = root.at("schema").integer<int>(1, 1000000);
    if (!context.error && schema > known) {
        context.error = Error{
            ErrorKind::kFile,
            fmt::format("cannot use {} {}: its schema is {}, this yokedock knows schemas up to {}; "
                        "use the newer yokedock that wrote it, or update this one",
                        context.what, context.file, schema, known)};
    }
}

} // namespace yokedock::record
